//! The one row of the shop's terms about money owed.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `receivable_terms`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "receivable_terms")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: i64,
    /// Whether a customer's credit is laid against an invoice as it is issued.
    pub credit_applies_itself: bool,
    /// Whether the place gives back the sales tax in what is written off.
    pub write_off_tax_relief: bool,
    /// Charged when a check bounces; zero for nothing.
    pub returned_payment_fee_cents: i64,
    pub late_charge_grace_days: i32,
    /// Percent a month of what is overdue; none for a fixed charge or none at all.
    pub late_charge_percent: Option<Exact>,
    /// Fixed charge a month; zero for none.
    pub late_charge_cents: i64,
    /// Days after the due date until the first reminder; zero for none. So too the others.
    pub overdue_first_days: i32,
    pub overdue_second_days: i32,
    pub overdue_third_days: i32,
    /// Who had late charges made by themselves, once a day; none where somebody of the shop asks for them.
    pub late_charges_set_by: Option<i64>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
