//! The sales tax that is owed again with a part of a write-off, by level.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `write_off_return_tax`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "write_off_return_tax")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub write_off_return_id: i64,
    pub tax_level_id: i64,
    pub amount_cents: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
