//! Lists about parts in stock and on order, and what suppliers send for them.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// What kind of place parts lie at.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum StockPlaceKind {
    #[sea_orm(string_value = "shelf")]
    Shelf,
    #[sea_orm(string_value = "van")]
    Van,
}

/// How the cost of what leaves is found.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum StockMethod {
    #[sea_orm(string_value = "moving_average")]
    MovingAverage,
    #[sea_orm(string_value = "first_in_first_out")]
    FirstInFirstOut,
}

/// What changed the stock.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum StockMoveKind {
    #[sea_orm(string_value = "received")]
    Received,
    #[sea_orm(string_value = "used")]
    Used,
    #[sea_orm(string_value = "taken_back")]
    TakenBack,
    #[sea_orm(string_value = "moved")]
    Moved,
    #[sea_orm(string_value = "counted")]
    Counted,
    #[sea_orm(string_value = "adjusted")]
    Adjusted,
    #[sea_orm(string_value = "sent_back")]
    SentBack,
    #[sea_orm(string_value = "settled")]
    Settled,
    #[sea_orm(string_value = "brought_forward")]
    BroughtForward,
    #[sea_orm(string_value = "assigned")]
    Assigned,
}

/// Where an order of parts stands.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum PartOrderState {
    #[sea_orm(string_value = "ordered")]
    Ordered,
    #[sea_orm(string_value = "received")]
    Received,
    #[sea_orm(string_value = "cancelled")]
    Cancelled,
}

/// What a supplier sends: what the shop owes, or gets back.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum SupplierBillKind {
    #[sea_orm(string_value = "bill")]
    Bill,
    #[sea_orm(string_value = "credit")]
    Credit,
}
