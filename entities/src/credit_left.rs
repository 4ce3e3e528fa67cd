//! What is left of a credit note: credit of its customer.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `credit_left`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "credit_left")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub credit_note_id: i64,
    pub customer_id: i64,
    pub arose_on: Date,
    pub left_cents: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
