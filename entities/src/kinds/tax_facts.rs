//! Lists about the facts that tax rules turn on, and what the rules do.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// What a rule does with a charge.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum TaxTreatment {
    #[sea_orm(string_value = "taxed")]
    Taxed,
    #[sea_orm(string_value = "not_taxed")]
    NotTaxed,
    #[sea_orm(string_value = "prorated_by_parts")]
    ProratedByParts,
    #[sea_orm(string_value = "over_actual_cost")]
    OverActualCost,
    #[sea_orm(string_value = "follows_goods")]
    FollowsGoods,
    #[sea_orm(string_value = "follows_goods_by_share")]
    FollowsGoodsByShare,
}

/// Whether prices of a place hold the tax.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    Hash,
    EnumIter,
    DeriveActiveEnum,
    Serialize,
    Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum TaxPrices {
    #[sea_orm(string_value = "before_tax")]
    #[default]
    BeforeTax,
    #[sea_orm(string_value = "with_tax")]
    WithTax,
}

/// Whether a document states its charges one by one.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    Hash,
    EnumIter,
    DeriveActiveEnum,
    Serialize,
    Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum StatedAs {
    #[sea_orm(string_value = "separately")]
    #[default]
    Separately,
    #[sea_orm(string_value = "lump_sum")]
    LumpSum,
}

/// What came of the work.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    Hash,
    EnumIter,
    DeriveActiveEnum,
    Serialize,
    Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum WorkOutcome {
    #[sea_orm(string_value = "repaired")]
    #[default]
    Repaired,
    #[sea_orm(string_value = "only_diagnosed")]
    OnlyDiagnosed,
}

/// What a trip was for.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum TripServes {
    #[sea_orm(string_value = "parts")]
    Parts,
    #[sea_orm(string_value = "labour")]
    Labour,
    #[sea_orm(string_value = "both")]
    Both,
}

/// Who carries goods to the customer.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Carrier {
    #[sea_orm(string_value = "shop")]
    Shop,
    #[sea_orm(string_value = "independent")]
    Independent,
}

/// Which purchases a certificate is for.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    Hash,
    EnumIter,
    DeriveActiveEnum,
    Serialize,
    Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum CertificatePurchases {
    #[sea_orm(string_value = "single")]
    Single,
    #[sea_orm(string_value = "blanket")]
    #[default]
    Blanket,
}
