//! What to look at next time a failure returns, in the shop's words.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `check_advice`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "check_advice")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub failure_mode_id: i64,
    /// Kind of component it is for; `any` serves those without advice of their own.
    pub component_class: String,
    pub position: i32,
    pub text: String,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
