//! One file of a bank that was taken in.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `bank_statement`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "bank_statement")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub account_id: i64,
    pub content_hash: String,
    /// Lines that were new.
    pub line_count: i32,
    /// Lines that were there already.
    pub known_count: i32,
    pub first_on: Date,
    pub last_on: Date,
    pub imported_at: DateTimeUtc,
    pub imported_by: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
