//! Document numbers: no gap and no twin in any series.

use futures_util::TryStreamExt;
use nameplate_entities::number_series;
use sea_orm::{ConnectionTrait, EntityTrait, FromQueryResult, Statement, StreamTrait};

use crate::base::Result;
use crate::base::numbers::{Series, printed};

use super::{FINDINGS_MAX, Finding};

/// Where the numbers of a series are: table, and the statement that lists them in order.
fn place(series: Series) -> (&'static str, &'static str) {
    match series {
        Series::Call => (
            "service_call",
            "SELECT id, number FROM service_call ORDER BY LENGTH(number), number",
        ),
        Series::Estimate => (
            "estimate",
            "SELECT id, number FROM estimate ORDER BY LENGTH(number), number",
        ),
        Series::Invoice => (
            "invoice",
            "SELECT id, number FROM invoice WHERE kind = 'invoice' ORDER BY LENGTH(number), number",
        ),
        Series::CreditNote => (
            "invoice",
            "SELECT id, number FROM invoice WHERE kind = 'credit_note' ORDER BY LENGTH(number), number",
        ),
        Series::Payment => (
            "payment",
            "SELECT id, number FROM payment ORDER BY LENGTH(number), number",
        ),
        Series::Refund => (
            "refund",
            "SELECT id, number FROM refund ORDER BY LENGTH(number), number",
        ),
        Series::WriteOff => (
            "write_off",
            "SELECT id, number FROM write_off ORDER BY LENGTH(number), number",
        ),
        Series::BankDeposit => (
            "bank_deposit",
            "SELECT id, number FROM bank_deposit ORDER BY LENGTH(number), number",
        ),
        Series::PartOrder => (
            "part_order",
            "SELECT id, number FROM part_order ORDER BY LENGTH(number), number",
        ),
        Series::SupplierBill => (
            "supplier_bill",
            "SELECT id, number FROM supplier_bill WHERE kind = 'bill' ORDER BY LENGTH(number), number",
        ),
        Series::SupplierCredit => (
            "supplier_bill",
            "SELECT id, number FROM supplier_bill WHERE kind = 'credit' ORDER BY LENGTH(number), number",
        ),
        Series::KeptPart => (
            "kept_part",
            "SELECT id, number FROM kept_part ORDER BY LENGTH(number), number",
        ),
        Series::Claim => (
            "claim",
            "SELECT id, number FROM claim ORDER BY LENGTH(number), number",
        ),
        Series::SupplierPayment => (
            "supplier_payment",
            "SELECT id, number FROM supplier_payment ORDER BY LENGTH(number), number",
        ),
        Series::Journal => (
            "journal_entry",
            "SELECT id, number FROM journal_entry ORDER BY LENGTH(number), number",
        ),
        Series::ShopTag => (
            "appliance",
            "SELECT id, shop_tag AS number FROM appliance WHERE shop_tag IS NOT NULL \
             ORDER BY LENGTH(shop_tag), shop_tag",
        ),
    }
}

#[derive(FromQueryResult)]
struct Numbered {
    id: i64,
    number: String,
}

pub async fn check(tx: &(impl ConnectionTrait + StreamTrait)) -> Result<Vec<Finding>> {
    let mut findings = Vec::new();
    for series in Series::ALL {
        findings.extend(of_series(tx, series).await?);
    }
    Ok(findings)
}

/// The numbers of one series must be 1, 2, 3 … up to the one before the next.
async fn of_series(
    tx: &(impl ConnectionTrait + StreamTrait),
    series: Series,
) -> Result<Vec<Finding>> {
    // A database that was migrated but never opened has no series, and no documents either.
    let row = number_series::Entity::find_by_id(series.key())
        .one(tx)
        .await?
        .unwrap_or_else(|| number_series::Model {
            series: series.key().to_owned(),
            prefix: series.prefix().to_owned(),
            next_number: 1,
        });
    let mut findings = Vec::new();
    let (table, sql) = place(series);
    let mut expected = 1_i64;
    let statement = Statement::from_string(ConnectionTrait::get_database_backend(tx), sql);
    let mut rows = Numbered::find_by_statement(statement).stream(tx).await?;
    while let Some(numbered) = rows.try_next().await? {
        let should = printed(&row.prefix, expected);
        if numbered.number != should && findings.len() < FINDINGS_MAX {
            findings.push(Finding {
                table,
                row: numbered.id.to_string(),
                what: format!(
                    "its number is {}, where {should} comes next",
                    numbered.number
                ),
            });
            // Go on from here, so that one gap is one finding.
            expected = suffix(&numbered.number, &row.prefix).unwrap_or(expected);
        }
        expected = expected.saturating_add(1);
    }
    if row.next_number != expected {
        findings.push(Finding {
            table: "number_series",
            row: row.series,
            what: format!(
                "the next number is {}, but the documents lead to {expected}",
                row.next_number
            ),
        });
    }
    Ok(findings)
}

fn suffix(number: &str, prefix: &str) -> Option<i64> {
    number.strip_prefix(prefix)?.parse().ok()
}
