//! Lists about machines and what fails on them.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// What feeds an appliance.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Fuel {
    #[sea_orm(string_value = "electric")]
    Electric,
    #[sea_orm(string_value = "natural_gas")]
    NaturalGas,
    #[sea_orm(string_value = "liquid_gas")]
    LiquidGas,
    #[sea_orm(string_value = "none")]
    None,
}

/// Which failures can hurt someone when they return.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Hazard {
    #[sea_orm(string_value = "none")]
    None,
    #[sea_orm(string_value = "heat")]
    Heat,
    #[sea_orm(string_value = "arc")]
    Arc,
    #[sea_orm(string_value = "gas")]
    Gas,
    #[sea_orm(string_value = "water_on_electrics")]
    WaterOnElectrics,
}
