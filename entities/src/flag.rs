//! A repeat failure on one appliance.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::{FlagLevel, FlagState};

/// One row of `flag`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "flag")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub call_id: i64,
    pub appliance_id: i64,
    pub component_id: i64,
    pub failure_mode_id: i64,
    pub finding_id: i64,
    pub level: FlagLevel,
    pub state: FlagState,
    pub reason: String,
    /// The shop's repairs of this kind on other appliances.
    pub base_repairs: i64,
    /// How many of them returned.
    pub base_returned: i64,
    pub next_checks_json: String,
    pub cautions_json: String,
    pub raised_at: DateTimeUtc,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
