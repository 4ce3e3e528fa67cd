//! One line of a bank's statement.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `bank_line`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "bank_line")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub account_id: i64,
    /// The file it came in; none for the balance the account began with.
    pub statement_id: Option<i64>,
    pub file_line: Option<i32>,
    pub booked_on: Date,
    /// Money in is positive.
    pub amount_cents: i64,
    pub words: String,
    pub payee: Option<String>,
    pub reference: Option<String>,
    /// The bank's own id.
    pub bank_key: Option<String>,
    /// What the bank says lies on the account after it.
    pub balance_cents: Option<i64>,
    /// What tells it from other lines: a hash of day, amount and words, or of the bank's own id.
    pub same_key: String,
    /// The how manyth line of that key it is.
    pub occurrence: i32,
    pub match_id: Option<i64>,
    /// The reconciliation that holds it as it is.
    pub reconciliation_id: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
