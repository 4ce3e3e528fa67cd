//! One effect for one key: the receipt of an act, written with its effect.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `idempotency_key`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "idempotency_key")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub actor: String,
    pub key: String,
    pub act: String,
    pub request_hash: String,
    pub receipt_json: String,
    pub created_at: DateTimeUtc,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
