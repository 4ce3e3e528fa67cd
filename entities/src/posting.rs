//! One side of an entry on one account.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `posting`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "posting")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub entry_id: i64,
    pub position: i32,
    pub account_id: i64,
    pub debit_cents: i64,
    pub credit_cents: i64,
    /// Which levy a tax posting is owed to.
    pub tax_level_id: Option<i64>,
    /// The day of its entry, here once more so that one index gives an account's balance on a day.
    pub entry_on: Date,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
