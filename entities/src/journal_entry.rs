//! One balanced entry, never edited, only reversed.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `journal_entry`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "journal_entry")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub number: String,
    pub entry_on: Date,
    pub posted_at: DateTimeUtc,
    pub posted_by: Option<i64>,
    pub memo: String,
    pub document_kind: String,
    pub document_id: Option<i64>,
    pub debit_cents: i64,
    pub credit_cents: i64,
    pub reverses_entry_id: Option<i64>,
    /// The fiscal year that it closes or, as a reversal, opens again; named by the calendar year it ends in.
    pub closes_year: Option<i32>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
