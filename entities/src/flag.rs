//! A repeat failure on one appliance.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;
use crate::kinds::{FlagLevel, FlagState, Pattern};

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
    /// What several machines have in common; none for a flag about one machine.
    pub pattern: Option<Pattern>,
    /// Which model, part, batch, method or address.
    pub pattern_key: Option<String>,
    /// What it was called on the day it was raised.
    pub pattern_label: Option<String>,
    /// Returns, or machines at an address.
    pub observed: Option<i64>,
    /// Returns that comparable work lets expect.
    pub expected: Option<Exact>,
    /// At least so many times as many as expected, 95 times in 100.
    pub ratio_low: Option<Exact>,
    /// How often it has come back on this machine; none for a flag about several machines.
    pub again: Option<i64>,
    /// Days since the first such repair on this machine.
    pub own_days: Option<i64>,
    /// Days since the first such repair on each other machine, summed.
    pub watched_days: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
