//! An issued invoice or credit note. It never changes.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::{Payer, ReceivableKind};

/// One row of `invoice`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "invoice")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub kind: ReceivableKind,
    pub number: String,
    pub call_id: Option<i64>,
    pub customer_id: i64,
    pub payer: Payer,
    pub estimate_revision_id: Option<i64>,
    /// The drafted option that was billed in place of the accepted one.
    pub billed_option_id: Option<i64>,
    pub credits_invoice_id: Option<i64>,
    /// Which sale it bills a part of, where several payers share one.
    pub division_id: Option<i64>,
    /// The invoice, taken back in whole, whose share this one bills to somebody else.
    pub rebills_invoice_id: Option<i64>,
    /// Where the machine stands or the goods went.
    pub service_address_id: Option<i64>,
    /// The book that priced it, where no estimate did.
    pub price_book_id: Option<i64>,
    /// The certificate that set any of it free of tax.
    pub tax_exemption_id: Option<i64>,
    /// The warranty payer it is on.
    pub warranty_payer_id: Option<i64>,
    /// The terms of the programme by which that payer is billed.
    pub programme_terms_id: Option<i64>,
    /// The invoice that this charge for lateness or a returned payment is about.
    pub charge_for_invoice_id: Option<i64>,
    /// The returned payment of which this claims what was refunded; such an invoice is no sale.
    pub returned_payment_id: Option<i64>,
    /// The invoice of a warranty payer of which this asks the call's customer for a rest; such an invoice is no sale.
    pub moved_from_invoice_id: Option<i64>,
    pub tax_jurisdiction_id: i64,
    pub issued_on: Date,
    pub due_on: Date,
    pub issued_at: DateTimeUtc,
    pub issued_by: i64,
    /// Why it was credited.
    pub reason: Option<String>,
    pub net_cents: i64,
    pub discount_cents: i64,
    pub tax_cents: i64,
    pub total_cents: i64,
    pub content_json: String,
    pub content_hash: String,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
