//! One payment of a deposit.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `bank_deposit_line`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "bank_deposit_line")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub deposit_id: i64,
    pub payment_id: i64,
    /// The payment once more while the deposit stands; no two rows hold the same.
    pub standing_payment_id: Option<i64>,
    pub amount_cents: i64,
    pub fee_cents: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
