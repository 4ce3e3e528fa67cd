//! A customer's way in: one revision, until a day, by a token kept as a hash.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `estimate_link`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "estimate_link")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub revision_id: i64,
    #[serde(skip)]
    pub token_hash: String,
    pub created_at: DateTimeUtc,
    pub expires_at: DateTimeUtc,
    pub revoked_at: Option<DateTimeUtc>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
