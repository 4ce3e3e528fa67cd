//! One step of a book's markup schedule.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `markup_bracket`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "markup_bracket")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub price_book_id: i64,
    pub position: i32,
    /// Top of the bracket, inside; none for the last.
    pub up_to_cents: Option<i64>,
    pub multiplier: Exact,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
