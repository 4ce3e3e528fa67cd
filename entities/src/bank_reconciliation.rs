//! A statement of the bank through a day that the books agree with.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `bank_reconciliation`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "bank_reconciliation")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub account_id: i64,
    pub through_on: Date,
    pub opening_cents: i64,
    pub lines_cents: i64,
    pub closing_cents: i64,
    pub recorded_at: DateTimeUtc,
    pub recorded_by: i64,
    pub reopened_at: Option<DateTimeUtc>,
    pub reopened_because: Option<String>,
    pub reopened_by: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
