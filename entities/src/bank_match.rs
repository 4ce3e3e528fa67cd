//! Lines of the bank and postings of the books that are the same money.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `bank_match`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "bank_match")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub account_id: i64,
    pub reason: String,
    pub made_at: DateTimeUtc,
    pub made_by: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
