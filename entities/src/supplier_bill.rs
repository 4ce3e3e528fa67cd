//! A supplier's bill, or the credit that a supplier gives.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::SupplierBillKind;

/// One row of `supplier_bill`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "supplier_bill")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub kind: SupplierBillKind,
    /// The shop's own number of it.
    pub number: String,
    pub supplier_id: i64,
    /// The supplier's number.
    pub supplier_number: String,
    /// Lower case; each is recorded once.
    pub supplier_number_key: String,
    pub billed_on: Date,
    pub due_on: Date,
    pub total_cents: i64,
    /// The bill that a credit is about.
    pub credits_bill_id: Option<i64>,
    pub note: Option<String>,
    pub recorded_at: DateTimeUtc,
    pub recorded_by: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
