//! Money paid to a supplier.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::PaymentMethod;

/// One row of `supplier_payment`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "supplier_payment")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub number: String,
    pub supplier_id: i64,
    pub method: PaymentMethod,
    pub reference: Option<String>,
    pub paid_on: Date,
    /// The bank account it was paid from.
    pub account_id: i64,
    pub amount_cents: i64,
    pub recorded_at: DateTimeUtc,
    pub recorded_by: i64,
    /// The day from which it counts no more.
    pub undone_on: Option<Date>,
    pub undone_because: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
