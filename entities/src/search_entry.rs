//! What the one search box looks through, in words lower-cased and stripped of punctuation.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `search_entry`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "search_entry")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub subject_kind: String,
    pub subject_id: i64,
    /// What a hit shows first.
    pub title: String,
    pub body: String,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
