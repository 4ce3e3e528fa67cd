//! One sale that several payers were billed for. It never changes.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::CoverageSplit;

/// One row of `invoice_division`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "invoice_division")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub call_id: i64,
    /// What one invoice would have said.
    pub net_cents: i64,
    pub discount_cents: i64,
    pub tax_cents: i64,
    pub total_cents: i64,
    /// What of the total the shop bears itself; no sale, so on no invoice.
    pub shop_cents: i64,
    pub shop_net_cents: i64,
    pub shop_discount_cents: i64,
    pub shop_tax_cents: i64,
    /// The decision that said who pays what.
    pub coverage_decision_id: Option<i64>,
    /// Which of its two splits was billed.
    pub coverage_split: Option<CoverageSplit>,
    pub divided_at: DateTimeUtc,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
