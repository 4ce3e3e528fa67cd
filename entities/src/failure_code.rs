//! What the shop's own component and failure are called in an industry scheme.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `failure_code`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "failure_code")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    /// None for every component.
    pub component_id: Option<i64>,
    pub failure_mode_id: i64,
    pub codes_json: String,
    pub changed_at: DateTimeUtc,
    pub changed_by: i64,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
