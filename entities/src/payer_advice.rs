//! A payer's advice of what it pays.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `payer_advice`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "payer_advice")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub payer_id: i64,
    /// The payer's number of it.
    pub reference: String,
    pub advised_on: Date,
    /// Of the file.
    pub sha256: String,
    pub rows: i32,
    pub total_cents: i64,
    /// The money, once it is posted.
    pub payment_id: Option<i64>,
    pub imported_at: DateTimeUtc,
    pub imported_by: i64,
    pub posted_at: Option<DateTimeUtc>,
    pub posted_by: Option<i64>,
    pub dropped_at: Option<DateTimeUtc>,
    /// Of the file, while the advice is neither dropped nor undone.
    pub standing_sha256: Option<String>,
    /// When it was undone, after its payment was.
    pub undone_at: Option<DateTimeUtc>,
    pub undone_because: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
