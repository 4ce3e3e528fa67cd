//! What part of a payment or credit note settles which invoice.

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
    pub invoice_id: i64,
    pub amount_cents: i64,
    pub allocated_at: DateTimeUtc,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
