//! Money received from a customer.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::PaymentMethod;

/// One row of `payment`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "payment")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub number: String,
    pub customer_id: i64,
    pub method: PaymentMethod,
    pub reference: Option<String>,
    pub received_on: Date,
    pub recorded_at: DateTimeUtc,
    pub recorded_by: i64,
    pub amount_cents: i64,
    /// The customer's credit out of this payment.
    pub unallocated_cents: i64,
    /// So much of that credit waits for the claims that rows of an advice are about.
    pub held_cents: i64,
    /// The call it is a deposit for; that call's invoice takes it first.
    pub deposit_call_id: Option<i64>,
    /// The day it was undone.
    pub reversed_on: Option<Date>,
    /// The account at a bank that it was taken to; none while it waits.
    pub bank_account_id: Option<i64>,
    /// The day it was taken there.
    pub banked_on: Option<Date>,
    /// The day from which it waits again, where a deposit it was on was undone.
    pub waits_again_from: Option<Date>,
    /// When it was marked as one that an entry by hand took to the bank, before there were deposits.
    pub banked_before_at: Option<DateTimeUtc>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
