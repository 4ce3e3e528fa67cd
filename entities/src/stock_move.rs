//! One change of quantity or value in stock; never changed itself.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;
use crate::kinds::StockMoveKind;

/// One row of `stock_move`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "stock_move")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    /// None for value that is not assigned to parts.
    pub part_id: Option<i64>,
    pub place_id: Option<i64>,
    pub kind: StockMoveKind,
    /// The day it counts for.
    pub moved_on: Date,
    pub recorded_at: DateTimeUtc,
    pub recorded_by: Option<i64>,
    /// Below zero for what left.
    pub quantity: Exact,
    /// By how much the stock's value grew; below zero for what left.
    pub value_cents: i64,
    /// How many lay at the place afterwards.
    pub place_after: Option<Exact>,
    /// How many the shop had afterwards.
    pub part_after: Option<Exact>,
    /// What they were worth.
    pub value_after_cents: Option<i64>,
    pub call_id: Option<i64>,
    pub part_used_id: Option<i64>,
    pub part_order_id: Option<i64>,
    /// The invoice without a call by which they were sold.
    pub invoice_id: Option<i64>,
    /// The move that it takes back, wholly or in part.
    pub undoes_move_id: Option<i64>,
    /// For a settlement: the move by which the parts had left before they came in.
    pub settles_move_id: Option<i64>,
    /// The account on the entry's other side.
    pub account_id: Option<i64>,
    pub reason: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
