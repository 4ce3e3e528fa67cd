//! What to mind when a failure returns, beside what to look at.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `check_caution`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "check_caution")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub failure_mode_id: i64,
    /// Kind of component it is for, as in `check_advice`.
    pub component_class: String,
    pub caution_key: String,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
