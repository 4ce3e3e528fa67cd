//! Price of an hour of a technician of one grade.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `labour_rate`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "labour_rate")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub price_book_id: i64,
    pub position: i32,
    /// The grade, the same in every book.
    pub name: String,
    pub hourly_rate_cents: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
