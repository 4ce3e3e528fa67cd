//! Why and when a payment was undone.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::ReversalKind;

/// One row of `payment_reversal`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "payment_reversal")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub payment_id: i64,
    pub kind: ReversalKind,
    pub reason: String,
    pub reversed_on: Date,
    pub recorded_at: DateTimeUtc,
    pub recorded_by: i64,
    /// The account at a bank that took it back; none for one that was not there yet.
    pub bank_account_id: Option<i64>,
    /// What the bank kept for it beside.
    pub bank_fee_cents: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
