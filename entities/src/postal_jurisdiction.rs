//! Which tax jurisdiction a postal code may lie in.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `postal_jurisdiction`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "postal_jurisdiction")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub postal_code: String,
    /// Any of the jurisdiction's dated rules; its name finds those in force.
    pub tax_jurisdiction_id: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
