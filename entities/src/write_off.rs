//! An open amount that is no longer expected.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::WriteOffKind;

/// One row of `write_off`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "write_off")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub number: String,
    pub invoice_id: i64,
    pub kind: WriteOffKind,
    pub amount_cents: i64,
    /// What the shop bears; the rest is sales tax that it gets back.
    pub bad_debt_cents: i64,
    pub reason: String,
    pub written_off_on: Date,
    pub written_off_at: DateTimeUtc,
    pub written_off_by: i64,
    /// The day on which nothing was left of it: all came in after all, or it was undone.
    pub reversed_on: Option<Date>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
