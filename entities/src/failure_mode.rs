//! The ways a component fails.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::Hazard;

/// One row of `failure_mode`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "failure_mode")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub key: String,
    pub name: String,
    pub hazard: Hazard,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
