//! From which day a jurisdiction rounds by rule or by a bracket table.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `tax_method`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "tax_method")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub tax_jurisdiction_id: i64,
    pub from_on: Date,
    /// The table as JSON; none for rounding by rule.
    pub brackets_json: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
