//! What part of a payment or credit settles which bill of a supplier.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `payable_allocation`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "payable_allocation")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub bill_id: i64,
    pub payment_id: Option<i64>,
    pub credit_id: Option<i64>,
    /// Below zero where it undoes another row.
    pub amount_cents: i64,
    /// The day it counts from.
    pub applied_on: Date,
    pub allocated_at: DateTimeUtc,
    /// The row it undoes.
    pub undoes_allocation_id: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
