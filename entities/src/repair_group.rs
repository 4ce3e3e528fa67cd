//! A group that a completed repair is counted in.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::Dimension;

/// One row of `repair_group`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "repair_group")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub dimension: Dimension,
    #[sea_orm(primary_key, auto_increment = false)]
    /// Id or word of the group; for two together, both with a bar between.
    pub group_key: String,
    #[sea_orm(primary_key, auto_increment = false)]
    pub completed_on: Date,
    #[sea_orm(primary_key, auto_increment = false)]
    pub call_id: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
