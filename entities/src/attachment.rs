//! A picture or paper on one record: a machine, a call or a finding.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::AttachmentKind;

/// One row of `attachment`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "attachment")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub appliance_id: Option<i64>,
    pub call_id: Option<i64>,
    pub finding_id: Option<i64>,
    pub kind: AttachmentKind,
    pub caption: Option<String>,
    /// What it is by its own content.
    pub media_type: String,
    /// Of a picture, in pixels.
    pub width: Option<i32>,
    pub height: Option<i32>,
    pub byte_count: i64,
    /// Of what is kept.
    pub sha256: String,
    /// Of what was sent; a picture is kept without the data hidden in it.
    pub source_sha256: String,
    pub added_at: DateTimeUtc,
    pub added_by: i64,
    pub removed_at: Option<DateTimeUtc>,
    pub removed_by: Option<i64>,
    pub removed_reason: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
