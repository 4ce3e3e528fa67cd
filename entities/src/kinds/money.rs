//! Lists about payers, payments and accounts.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// An invoice, or the credit note that corrects one.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum ReceivableKind {
    #[sea_orm(string_value = "invoice")]
    Invoice,
    #[sea_orm(string_value = "credit_note")]
    CreditNote,
}

/// Who owes a line.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Payer {
    #[sea_orm(string_value = "customer")]
    Customer,
    #[sea_orm(string_value = "warranty_payer")]
    WarrantyPayer,
    #[sea_orm(string_value = "shop")]
    Shop,
}

/// How money arrived.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum PaymentMethod {
    #[sea_orm(string_value = "cash")]
    Cash,
    #[sea_orm(string_value = "check")]
    Check,
    #[sea_orm(string_value = "card")]
    Card,
    #[sea_orm(string_value = "transfer")]
    Transfer,
}

/// The five classes of account.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum AccountKind {
    #[sea_orm(string_value = "asset")]
    Asset,
    #[sea_orm(string_value = "liability")]
    Liability,
    #[sea_orm(string_value = "equity")]
    Equity,
    #[sea_orm(string_value = "revenue")]
    Revenue,
    #[sea_orm(string_value = "expense")]
    Expense,
}

/// What was done to a period of the books.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum PeriodEventKind {
    #[sea_orm(string_value = "books_closed")]
    BooksClosed,
    #[sea_orm(string_value = "books_reopened")]
    BooksReopened,
    #[sea_orm(string_value = "year_closed")]
    YearClosed,
    #[sea_orm(string_value = "year_reopened")]
    YearReopened,
}

/// Why a payment was undone.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum ReversalKind {
    #[sea_orm(string_value = "bounced")]
    Bounced,
    #[sea_orm(string_value = "charged_back")]
    ChargedBack,
    #[sea_orm(string_value = "recorded_by_mistake")]
    RecordedByMistake,
}
