//! So much of a write-off that is owed again, because something came in on its invoice or it was wrong.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `write_off_return`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "write_off_return")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub write_off_id: i64,
    pub amount_cents: i64,
    /// What of it was the shop's loss; the rest is sales tax that is owed again.
    pub bad_debt_cents: i64,
    pub because: String,
    pub returned_on: Date,
    pub recorded_at: DateTimeUtc,
    pub recorded_by: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
