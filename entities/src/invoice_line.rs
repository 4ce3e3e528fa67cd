//! One charge of an invoice; negative on a credit note.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;
use crate::kinds::{ChargeKind, PartCondition};

/// One row of `invoice_line`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "invoice_line")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub invoice_id: i64,
    pub position: i32,
    pub kind: ChargeKind,
    pub description: String,
    pub part_id: Option<i64>,
    pub quantity: Exact,
    pub unit_price_cents: i64,
    pub net_cents: i64,
    pub discount_cents: i64,
    pub taxable_cents: i64,
    pub tax_cents: i64,
    pub tax_reason: String,
    /// What the shop pays for the line.
    pub cost_cents: i64,
    pub labour_minutes: Option<i32>,
    /// For a part: new, used or rebuilt; none where nobody said.
    pub part_condition: Option<PartCondition>,
    /// The discount granted on this line alone, as the customer sees it; it is part of the line's discount.
    pub own_discount_cents: i64,
    /// On a credit note: the line of the invoice it takes back from.
    pub credits_line_id: Option<i64>,
    /// On a credit note: whether it lowers the price and gives back no quantity.
    pub corrects_price: bool,
    /// Place in the sale, from 1, where several payers share it.
    pub sale_position: Option<i32>,
    /// Whether others pay for the rest of that line.
    pub is_part: bool,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
