//! What was done about a finding.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::Method;

/// One row of `remedy`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "remedy")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub finding_id: i64,
    pub method: Method,
    pub labour_minutes: i32,
    pub done_at: DateTimeUtc,
    pub done_by: i64,
    pub note: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
