//! What became of a completed repair: whether, and at which age, it came back.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `repair_outcome`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "repair_outcome")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub call_id: i64,
    pub appliance_id: i64,
    /// What was repaired first on the call.
    pub component_id: i64,
    /// Who did most of it.
    pub technician_id: i64,
    pub completed_on: Date,
    /// The first later call that counts against it.
    pub return_call_id: Option<i64>,
    /// Days from completion to the opening of that call, at least one.
    pub return_age_days: Option<i32>,
    /// Whether what was found then is a component repaired here.
    pub same_component: bool,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
