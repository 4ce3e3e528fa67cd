//! A numbered offer for one call; its revisions hold the content.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `estimate`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "estimate")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub number: String,
    pub call_id: i64,
    pub created_at: DateTimeUtc,
    pub created_by: i64,
    /// The customer wants no more reminders of it since then.
    pub reminders_stopped_at: Option<DateTimeUtc>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
