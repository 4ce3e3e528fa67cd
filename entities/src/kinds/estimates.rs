//! Lists about estimates.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// Where a revision of an estimate stands.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum EstimateState {
    #[sea_orm(string_value = "draft")]
    Draft,
    #[sea_orm(string_value = "sent")]
    Sent,
    #[sea_orm(string_value = "accepted")]
    Accepted,
    #[sea_orm(string_value = "declined")]
    Declined,
    #[sea_orm(string_value = "expired")]
    Expired,
    #[sea_orm(string_value = "superseded")]
    Superseded,
    #[sea_orm(string_value = "invoiced")]
    Invoiced,
}
