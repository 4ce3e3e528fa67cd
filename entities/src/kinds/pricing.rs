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
