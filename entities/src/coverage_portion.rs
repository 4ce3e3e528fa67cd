//! What somebody other than the customer pays of a line.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `coverage_portion`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "coverage_portion")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub decision_id: i64,
    /// Place of the line, from 1.
    pub position: i32,
    /// None for the shop itself.
    pub payer_id: Option<i64>,
    pub terms_id: Option<i64>,
    pub cover_id: Option<i64>,
    pub cents: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
