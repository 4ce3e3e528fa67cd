//! One kind of machine and component in a run.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `reserve_stratum`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "reserve_stratum")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub run_id: i64,
    pub appliance_type_id: i64,
    pub component_id: i64,
    pub repairs: i32,
    pub returns: i32,
    pub open_repairs: i32,
    pub expected_returns: Exact,
    /// Cents of one return.
    pub mean_cost: Exact,
    pub cents: i64,
    /// Repairs completed in the month.
    pub new_repairs: i32,
    /// What those were expected to cost on the day they were completed.
    pub new_cents: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
