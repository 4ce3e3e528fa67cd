//! Lists about calls, visits and what is written down on them.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// Why a call was made. Only repairs can come back as callbacks.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum CallKind {
    #[sea_orm(string_value = "repair")]
    Repair,
    #[sea_orm(string_value = "maintenance")]
    Maintenance,
    #[sea_orm(string_value = "installation")]
    Installation,
}

/// Where a service call stands.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum CallState {
    #[sea_orm(string_value = "open")]
    Open,
    #[sea_orm(string_value = "completed")]
    Completed,
    #[sea_orm(string_value = "cancelled")]
    Cancelled,
}

/// Whether a trip was made.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum VisitState {
    #[sea_orm(string_value = "planned")]
    Planned,
    #[sea_orm(string_value = "done")]
    Done,
    #[sea_orm(string_value = "missed")]
    Missed,
}

/// Why a call needed another visit.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum VisitReason {
    #[sea_orm(string_value = "part_ordered")]
    PartOrdered,
    #[sea_orm(string_value = "wrong_part")]
    WrongPart,
    #[sea_orm(string_value = "more_time")]
    MoreTime,
    #[sea_orm(string_value = "not_home")]
    NotHome,
    #[sea_orm(string_value = "customer_decides")]
    CustomerDecides,
    #[sea_orm(string_value = "no_access")]
    NoAccess,
    #[sea_orm(string_value = "second_person")]
    SecondPerson,
    #[sea_orm(string_value = "other")]
    Other,
}

/// Whether a load drew current while a voltage was read.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Circuit {
    #[sea_orm(string_value = "open")]
    Open,
    #[sea_orm(string_value = "loaded")]
    Loaded,
}

/// What a voltage was read across.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Across {
    #[sea_orm(string_value = "supply")]
    Supply,
    #[sea_orm(string_value = "joint")]
    Joint,
}

/// What a reading measures.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    #[sea_orm(string_value = "resistance")]
    Resistance,
    #[sea_orm(string_value = "insulation_resistance")]
    InsulationResistance,
    #[sea_orm(string_value = "continuity")]
    Continuity,
    #[sea_orm(string_value = "voltage")]
    Voltage,
    #[sea_orm(string_value = "current")]
    Current,
    #[sea_orm(string_value = "power")]
    Power,
    #[sea_orm(string_value = "temperature")]
    Temperature,
    #[sea_orm(string_value = "pressure")]
    Pressure,
    #[sea_orm(string_value = "capacitance")]
    Capacitance,
}

/// What a reading says against its expected band.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    #[sea_orm(string_value = "inside")]
    Inside,
    #[sea_orm(string_value = "below")]
    Below,
    #[sea_orm(string_value = "above")]
    Above,
    #[sea_orm(string_value = "no_band")]
    NoBand,
    #[sea_orm(string_value = "may_be_parallel_path")]
    MayBeParallelPath,
}

/// How a finding was mended.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Method {
    #[sea_orm(string_value = "replaced")]
    Replaced,
    #[sea_orm(string_value = "re_terminated")]
    ReTerminated,
    #[sea_orm(string_value = "spliced")]
    Spliced,
    #[sea_orm(string_value = "cleaned")]
    Cleaned,
    #[sea_orm(string_value = "adjusted")]
    Adjusted,
    #[sea_orm(string_value = "tightened")]
    Tightened,
    #[sea_orm(string_value = "unblocked")]
    Unblocked,
    #[sea_orm(string_value = "other")]
    Other,
    #[sea_orm(string_value = "none")]
    None,
}
