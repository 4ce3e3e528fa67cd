//! A part over all places: how many, and what they are worth.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `stock_holding`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "stock_holding")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub part_id: i64,
    /// Below zero where more was fitted than is on record.
    pub quantity: Exact,
    pub value_cents: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
