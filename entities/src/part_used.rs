//! A part fitted in a remedy, and what it cost.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `part_used`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "part_used")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub remedy_id: i64,
    pub part_id: i64,
    pub quantity: Exact,
    pub unit_cost_cents: i64,
    /// Quantity times unit cost; once the call is completed, what the stock says they cost.
    pub cost_cents: i64,
    /// The batch, where somebody read it.
    pub lot_id: Option<i64>,
    /// Who the shop had it from, as the catalogue said then.
    pub supplier_id: Option<i64>,
    /// Where it was taken from, where somebody said.
    pub place_id: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
