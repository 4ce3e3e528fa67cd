//! Credit that was paid back to its customer.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::PaymentMethod;

/// One row of `refund`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "refund")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub number: String,
    pub customer_id: i64,
    pub method: PaymentMethod,
    pub reference: Option<String>,
    pub refunded_on: Date,
    pub recorded_at: DateTimeUtc,
    pub recorded_by: i64,
    pub amount_cents: i64,
    /// The account it was paid from; none where it is the one with the role.
    pub bank_account_id: Option<i64>,
    /// The day it was undone.
    pub reversed_on: Option<Date>,
    pub reversed_because: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
