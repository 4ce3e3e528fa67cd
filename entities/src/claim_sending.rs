//! The archive of a claim that was submitted. It never changes.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `claim_sending`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "claim_sending")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub claim_id: i64,
    /// The step by which it went.
    pub step_id: i64,
    /// What it said.
    #[serde(skip)]
    pub archive_json: String,
    /// Of the whole archive.
    pub sha256: String,
    pub byte_count: i64,
    /// The address, if it went by mail.
    pub mailed_to: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
