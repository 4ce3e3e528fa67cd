//! A signed-in device. Only the hash of its token is kept.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `session`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "session")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub staff_id: i64,
    /// SHA-256 of the token, hex.
    #[serde(skip)]
    pub token_hash: String,
    pub created_at: DateTimeUtc,
    pub last_seen_at: DateTimeUtc,
    pub expires_at: DateTimeUtc,
    pub ended_at: Option<DateTimeUtc>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
