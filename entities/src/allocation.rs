//! What part of a payment, credit note or write-off settles which invoice.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `allocation`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "allocation")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub payment_id: Option<i64>,
    pub credit_note_id: Option<i64>,
    pub write_off_id: Option<i64>,
    /// The invoice that asks somebody else for it.
    pub moved_to_invoice_id: Option<i64>,
    pub invoice_id: i64,
    /// Below zero where it undoes another row.
    pub amount_cents: i64,
    /// The day it counts for, never before the invoice was issued.
    pub applied_on: Date,
    pub allocated_at: DateTimeUtc,
    /// The row it undoes.
    pub undoes_allocation_id: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
