//! The bytes of an attachment.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::AttachmentSize;

/// One row of `attachment_content`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "attachment_content")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub attachment_id: i64,
    pub size: AttachmentSize,
    #[serde(skip)]
    pub bytes: Vec<u8>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
