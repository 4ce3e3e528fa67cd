//! Lists about price books and parts.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// A price book is changed only while it is a draft.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum BookState {
    #[sea_orm(string_value = "draft")]
    Draft,
    #[sea_orm(string_value = "adopted")]
    Adopted,
}

/// Whether a bracket's multiplier applies to the whole cost or to its slice.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum MarkupKind {
    #[sea_orm(string_value = "whole")]
    Whole,
    #[sea_orm(string_value = "graduated")]
    Graduated,
}

/// The cents a part price is lifted to.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum PriceEnding {
    #[sea_orm(string_value = "as_computed")]
    AsComputed,
    #[sea_orm(string_value = "up95")]
    Up95,
    #[sea_orm(string_value = "up99")]
    Up99,
}

/// Unit of distances in a price book.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum DistanceUnit {
    #[sea_orm(string_value = "kilometre")]
    Kilometre,
    #[sea_orm(string_value = "mile")]
    Mile,
}

/// Whether work is done in opening hours.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum WorkHours {
    #[sea_orm(string_value = "regular")]
    Regular,
    #[sea_orm(string_value = "after_hours")]
    AfterHours,
}

/// Who set the price of a line.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum PricedBy {
    #[sea_orm(string_value = "book")]
    Book,
    #[sea_orm(string_value = "hand")]
    Hand,
    #[sea_orm(string_value = "other_call")]
    OtherCall,
}

/// What set the price of a part that the book priced.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum PriceBasis {
    #[sea_orm(string_value = "schedule")]
    Schedule,
    #[sea_orm(string_value = "markup_cap")]
    MarkupCap,
    #[sea_orm(string_value = "fixed")]
    Fixed,
    #[sea_orm(string_value = "list_price_cap")]
    ListPriceCap,
}

/// How a part comes to the customer.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum PartCondition {
    #[sea_orm(string_value = "new")]
    New,
    #[sea_orm(string_value = "used")]
    Used,
    #[sea_orm(string_value = "rebuilt")]
    Rebuilt,
}

/// Where a supplier's price list stands.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum PriceListState {
    #[sea_orm(string_value = "begun")]
    Begun,
    #[sea_orm(string_value = "receiving")]
    Receiving,
    #[sea_orm(string_value = "broken_off")]
    BrokenOff,
    #[sea_orm(string_value = "refused")]
    Refused,
    #[sea_orm(string_value = "staged")]
    Staged,
    #[sea_orm(string_value = "taken_over")]
    TakenOver,
    #[sea_orm(string_value = "discarded")]
    Discarded,
}

/// What a row of a price list would do.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum RowOutcome {
    #[sea_orm(string_value = "unread")]
    Unread,
    #[sea_orm(string_value = "bad")]
    Bad,
    #[sea_orm(string_value = "new")]
    New,
    #[sea_orm(string_value = "changed")]
    Changed,
    #[sea_orm(string_value = "same")]
    Same,
}

/// What is wrong in a line of a price list.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum RowFault {
    #[sea_orm(string_value = "empty")]
    Empty,
    #[sea_orm(string_value = "too_long")]
    TooLong,
    #[sea_orm(string_value = "not_text")]
    NotText,
    #[sea_orm(string_value = "not_amount")]
    NotAmount,
    #[sea_orm(string_value = "decimal_comma")]
    DecimalComma,
    #[sea_orm(string_value = "out_of_range")]
    OutOfRange,
    #[sea_orm(string_value = "twice")]
    Twice,
    #[sea_orm(string_value = "other_supplier")]
    OtherSupplier,
    #[sea_orm(string_value = "columns")]
    Columns,
    #[sea_orm(string_value = "open_quote")]
    OpenQuote,
    #[sea_orm(string_value = "no_cost")]
    NoCost,
}
