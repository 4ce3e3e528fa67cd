//! People who work here.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::Role;

/// One row of `staff`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "staff")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub name: String,
    /// Lower case; the sign-in name.
    pub email: String,
    pub role: Role,
    /// Argon2id, PHC string.
    #[serde(skip)]
    pub password_hash: String,
    pub created_at: DateTimeUtc,
    /// When this person stopped working here; no sign-in after.
    pub left_at: Option<DateTimeUtc>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
