//! A picture, paper or kept part that goes with a claim.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::EvidenceKind;

/// One row of `claim_paper`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "claim_paper")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub claim_id: i64,
    pub evidence: EvidenceKind,
    pub attachment_id: Option<i64>,
    pub kept_part_id: Option<i64>,
    pub note: Option<String>,
    pub added_at: DateTimeUtc,
    pub added_by: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
