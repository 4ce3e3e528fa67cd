//! Lists about sales tax.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// Whether tax is rounded on each item or once on the invoice.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum TaxBasis {
    #[sea_orm(string_value = "item")]
    Item,
    #[sea_orm(string_value = "invoice")]
    Invoice,
}

/// Who levies a tax.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum LevelKind {
    #[sea_orm(string_value = "state")]
    State,
    #[sea_orm(string_value = "county")]
    County,
    #[sea_orm(string_value = "city")]
    City,
    #[sea_orm(string_value = "district")]
    District,
}

/// What a line charges for; decides its taxability and its revenue account.
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
pub enum ChargeKind {
    #[sea_orm(string_value = "part")]
    Part,
    #[sea_orm(string_value = "labour")]
    Labour,
    #[sea_orm(string_value = "trip")]
    Trip,
    #[sea_orm(string_value = "diagnostic")]
    Diagnostic,
    #[sea_orm(string_value = "freight")]
    Freight,
    #[sea_orm(string_value = "fee")]
    Fee,
}
