//! Receipts that went to the bank together.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `bank_deposit`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "bank_deposit")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub number: String,
    pub account_id: i64,
    pub deposited_on: Date,
    /// What stands on the slip.
    pub reference: Option<String>,
    pub receipts_cents: i64,
    /// What a card company kept of them.
    pub fee_cents: i64,
    pub recorded_at: DateTimeUtc,
    pub recorded_by: i64,
    /// The day from which it counts no more.
    pub undone_on: Option<Date>,
    pub undone_because: Option<String>,
    pub undone_at: Option<DateTimeUtc>,
    pub undone_by: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
