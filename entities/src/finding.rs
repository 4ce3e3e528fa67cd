//! What is wrong: component, failure mode, position, cause.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `finding`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "finding")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub call_id: i64,
    pub component_id: i64,
    pub failure_mode_id: i64,
    pub position: Option<String>,
    pub cause: Option<String>,
    pub found_at: DateTimeUtc,
    pub found_by: i64,
    pub note: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
