//! Out of which payment or credit note a refund was paid; rows below zero undo others.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `refund_part`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "refund_part")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub refund_id: i64,
    pub payment_id: Option<i64>,
    pub credit_note_id: Option<i64>,
    pub amount_cents: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
