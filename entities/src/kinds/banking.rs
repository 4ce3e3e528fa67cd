//! Lists about the files of banks.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// What stands between two columns.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum BankDelimiter {
    #[sea_orm(string_value = "comma")]
    Comma,
    #[sea_orm(string_value = "semicolon")]
    Semicolon,
    #[sea_orm(string_value = "tab")]
    Tab,
    #[sea_orm(string_value = "bar")]
    Bar,
}

/// How letters are written as bytes.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum BankEncoding {
    #[sea_orm(string_value = "utf_8")]
    Utf8,
    #[sea_orm(string_value = "windows_1252")]
    Windows1252,
}

/// In which order a date names its parts.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum DateOrder {
    #[sea_orm(string_value = "year_month_day")]
    YearMonthDay,
    #[sea_orm(string_value = "month_day_year")]
    MonthDayYear,
    #[sea_orm(string_value = "day_month_year")]
    DayMonthYear,
}

/// What stands before the cents.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum DecimalSign {
    #[sea_orm(string_value = "point")]
    Point,
    #[sea_orm(string_value = "comma")]
    Comma,
}
