//! Lists about people.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// What a member of staff may do; the table of rights is `base/access`.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Role {
    #[sea_orm(string_value = "owner")]
    Owner,
    #[sea_orm(string_value = "office")]
    Office,
    #[sea_orm(string_value = "technician")]
    Technician,
}

/// Whom a customer record stands for.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum CustomerKind {
    #[sea_orm(string_value = "household")]
    Household,
    #[sea_orm(string_value = "organisation")]
    Organisation,
}
