//! How many of a part lie at a place.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `stock_level`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "stock_level")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub place_id: i64,
    pub part_id: i64,
    pub quantity: Exact,
    /// Fewer than these are too few there.
    pub reorder_point: Option<Exact>,
    /// Whether there are fewer than the reorder point; kept with the quantity.
    pub is_low: bool,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
