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
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
