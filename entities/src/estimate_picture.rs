//! A picture that a revision shows.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `estimate_picture`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "estimate_picture")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub revision_id: i64,
    pub position: i32,
    pub attachment_id: i64,
    /// What it shows, for who cannot see it.
    pub words: String,
    /// Of the bytes shown.
    pub sha256: String,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
