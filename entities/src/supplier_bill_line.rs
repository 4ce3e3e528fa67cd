//! A line of a supplier's bill: parts, an expense, or a charge spread over the parts.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `supplier_bill_line`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "supplier_bill_line")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub bill_id: i64,
    pub position: i32,
    pub description: Option<String>,
    pub part_id: Option<i64>,
    pub quantity: Option<Exact>,
    pub unit_cost_cents: Option<i64>,
    pub place_id: Option<i64>,
    /// Where an expense went.
    pub account_id: Option<i64>,
    /// What the supplier asks for it.
    pub amount_cents: i64,
    /// What its parts cost in stock.
    pub cost_cents: i64,
    /// By which its parts came or went.
    pub move_id: Option<i64>,
    /// By which its parts came before the bill.
    pub receipt_move_id: Option<i64>,
    /// What of that receipt's cost it took; none on lines of before, which took all of it.
    pub awaited_cents: Option<i64>,
    pub part_order_id: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
