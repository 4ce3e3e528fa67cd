//! What is still open on an invoice, kept beside the document that never changes.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `receivable`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "receivable")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub invoice_id: i64,
    pub customer_id: i64,
    pub due_on: Date,
    pub open_cents: i64,
    /// Whether credit notes give back all of the invoice.
    pub taken_back: bool,
    /// Since when the customer disputes it.
    pub disputed_on: Option<Date>,
    pub disputed_because: Option<String>,
    /// No late charge before then.
    pub late_charge_next_on: Option<Date>,
    /// Day of the next reminder, while there is one to come.
    pub next_reminder_on: Option<Date>,
    pub reminders_sent: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
