//! A reminder that was asked for: each kind once for a revision.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::ReminderKind;

/// One row of `estimate_reminder`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "estimate_reminder")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub revision_id: i64,
    pub kind: ReminderKind,
    pub asked_at: DateTimeUtc,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
