//! A measurement with its verdict.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;
use crate::kinds::{Across, Circuit, Quantity, Verdict};

/// One row of `reading`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "reading")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub call_id: i64,
    pub taken_at: DateTimeUtc,
    pub taken_by: i64,
    pub quantity: Quantity,
    pub value: Exact,
    pub unit: String,
    pub place: String,
    /// At least one lead off.
    pub isolated: bool,
    /// Copper wire size, for a load current.
    pub wire_awg: Option<i32>,
    /// A load of three hours or more.
    pub continuous: bool,
    pub expected_low: Option<Exact>,
    pub expected_high: Option<Exact>,
    pub verdict: Verdict,
    /// Why, in words.
    pub explanation: String,
    pub note: Option<String>,
    /// Of a voltage: whether a load drew current.
    pub circuit: Option<Circuit>,
    /// Of a voltage: what it lay across.
    pub across: Option<Across>,
    /// Voltage at the machine while a current or power was read.
    pub supply_volts: Option<Exact>,
    /// Of the measured part: whether its resistance, current and power follow from its rating.
    pub part_resistive: Option<bool>,
    pub part_volts: Option<Exact>,
    pub part_watts: Option<Exact>,
    pub part_amps: Option<Exact>,
    /// What the wire's insulation is marked for.
    pub insulation_c: Option<i32>,
    /// What its terminals are marked for.
    pub terminals_c: Option<i32>,
    /// The breaker or fuse of the circuit.
    pub breaker_amps: Option<i32>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
