//! One levying authority of a jurisdiction.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;
use crate::kinds::LevelKind;

/// One row of `tax_level`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "tax_level")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub tax_jurisdiction_id: i64,
    pub position: i32,
    pub name: String,
    pub kind: LevelKind,
    pub rate_percent: Exact,
    /// First day in force; none for as long as the rules are.
    pub from_on: Option<Date>,
    /// Last day in force; none for open.
    pub until_on: Option<Date>,
    /// Kinds of charge it leaves alone, as a JSON list of their words.
    pub exempts_json: String,
    /// Which row of a published rate table it follows: state, type and code with colons between.
    pub rate_code: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
