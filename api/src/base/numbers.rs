//! Gapless numbers: taken inside the transaction that writes the document, so that a refused or
//! killed act gives its number back.

use sea_orm::sea_query::ExprTrait;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, sea_query::Expr};

use nameplate_entities::number_series::{Column, Entity};

use super::error::{Error, Result};

/// The series of documents, each with its own prefix.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Series {
    Call,
    Estimate,
    Invoice,
    CreditNote,
    Payment,
    Refund,
    WriteOff,
    BankDeposit,
    PartOrder,
    SupplierBill,
    SupplierCredit,
    SupplierPayment,
    KeptPart,
    Claim,
    Journal,
    ShopTag,
}

impl Series {
    pub const ALL: [Self; 16] = [
        Self::Call,
        Self::Estimate,
        Self::Invoice,
        Self::CreditNote,
        Self::Payment,
        Self::Refund,
        Self::WriteOff,
        Self::BankDeposit,
        Self::PartOrder,
        Self::SupplierBill,
        Self::SupplierCredit,
        Self::SupplierPayment,
        Self::KeptPart,
        Self::Claim,
        Self::Journal,
        Self::ShopTag,
    ];

    /// Key of the series' row.
    pub fn key(self) -> &'static str {
        match self {
            Self::Call => "call",
            Self::Estimate => "estimate",
            Self::Invoice => "invoice",
            Self::CreditNote => "credit_note",
            Self::Payment => "payment",
            Self::Refund => "refund",
            Self::WriteOff => "write_off",
            Self::BankDeposit => "bank_deposit",
            Self::PartOrder => "part_order",
            Self::SupplierBill => "supplier_bill",
            Self::SupplierCredit => "supplier_credit",
            Self::SupplierPayment => "supplier_payment",
            Self::KeptPart => "kept_part",
            Self::Claim => "claim",
            Self::Journal => "journal",
            Self::ShopTag => "shop_tag",
        }
    }

    /// What its numbers begin with.
    pub fn prefix(self) -> &'static str {
        match self {
            Self::Call => "C-",
            Self::Estimate => "E-",
            Self::Invoice => "I-",
            Self::CreditNote => "K-",
            Self::Payment => "P-",
            Self::Refund => "R-",
            Self::WriteOff => "W-",
            Self::BankDeposit => "B-",
            Self::PartOrder => "O-",
            Self::SupplierBill => "SB-",
            Self::SupplierCredit => "SC-",
            Self::SupplierPayment => "SP-",
            Self::KeptPart => "KP-",
            Self::Claim => "CL-",
            Self::Journal => "J-",
            Self::ShopTag => "NP-",
        }
    }
}

/// A number as printed: prefix and at least six digits.
pub fn printed(prefix: &str, number: i64) -> String {
    format!("{prefix}{number:06}")
}

/// Takes the next number of `series`.
///
/// # Errors
/// Internal, when the series was never opened.
pub async fn take(tx: &impl ConnectionTrait, series: Series) -> Result<String> {
    let row = Entity::update_many()
        .col_expr(Column::NextNumber, Expr::col(Column::NextNumber).add(1))
        .filter(Column::Series.eq(series.key()))
        .exec_with_returning(tx)
        .await?
        .pop()
        .ok_or_else(|| Error::internal("number series is not open"))?;
    Ok(printed(&row.prefix, row.next_number - 1))
}
