//! What a holding is made of, oldest first.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `stock_layer`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "stock_layer")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub part_id: i64,
    pub quantity: Exact,
    pub value_cents: i64,
    /// The move that made it; none for pieces that are valued as one.
    pub move_id: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
