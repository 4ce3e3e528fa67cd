//! Lists about callbacks and flags.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// What the office made of a proposed callback.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum CallbackState {
    #[sea_orm(string_value = "proposed")]
    Proposed,
    #[sea_orm(string_value = "confirmed")]
    Confirmed,
    #[sea_orm(string_value = "rejected")]
    Rejected,
}

/// Why a machine came back.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum CallbackClass {
    #[sea_orm(string_value = "same_failure")]
    SameFailure,
    #[sea_orm(string_value = "related")]
    Related,
    #[sea_orm(string_value = "unrelated")]
    Unrelated,
    #[sea_orm(string_value = "use")]
    Use,
    #[sea_orm(string_value = "no_fault_found")]
    NoFaultFound,
}

/// How loud a repeat failure is: watch, or act before closing the call.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum FlagLevel {
    #[sea_orm(string_value = "watch")]
    Watch,
    #[sea_orm(string_value = "act")]
    Act,
}

/// The life of a flag; it is never deleted.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum FlagState {
    #[sea_orm(string_value = "open")]
    Open,
    #[sea_orm(string_value = "acknowledged")]
    Acknowledged,
    #[sea_orm(string_value = "answered")]
    Answered,
    #[sea_orm(string_value = "closed")]
    Closed,
}

/// By what repairs are grouped when their returns are counted.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    EnumIter,
    DeriveActiveEnum,
    Serialize,
    Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Dimension {
    /// All repairs.
    #[sea_orm(string_value = "shop")]
    Shop,
    /// Who did most of it.
    #[sea_orm(string_value = "technician")]
    Technician,
    /// Who did it, and how.
    #[sea_orm(string_value = "technician_method")]
    TechnicianMethod,
    /// What was repaired.
    #[sea_orm(string_value = "component")]
    Component,
    /// How it had failed.
    #[sea_orm(string_value = "failure_mode")]
    FailureMode,
    /// The type of machine.
    #[sea_orm(string_value = "appliance_type")]
    ApplianceType,
    /// Make and model.
    #[sea_orm(string_value = "model")]
    Model,
    /// The part that was fitted.
    #[sea_orm(string_value = "part")]
    Part,
    /// The batch of the part that was fitted.
    #[sea_orm(string_value = "lot")]
    Lot,
    /// How it was repaired.
    #[sea_orm(string_value = "method")]
    Method,
    /// Who the part was had from.
    #[sea_orm(string_value = "supplier")]
    Supplier,
}

impl Dimension {
    /// Whether a group of it is a kind of work, which has nothing like it in the shop to compare with.
    #[must_use]
    pub fn is_kind_of_work(self) -> bool {
        matches!(self, Self::Component | Self::ApplianceType)
    }
}

/// What machines with the same failure have in common.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Pattern {
    #[sea_orm(string_value = "model")]
    Model,
    #[sea_orm(string_value = "part")]
    Part,
    #[sea_orm(string_value = "lot")]
    Lot,
    #[sea_orm(string_value = "method")]
    Method,
    #[sea_orm(string_value = "address")]
    Address,
}
