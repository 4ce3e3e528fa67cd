//! What documents say about sales and tax, as issued and as far as they are paid.

use chrono::NaiveDate;
use nameplate_entities::kinds::{ChargeKind, LevelKind};
use sea_orm::{ConnectionTrait, FromQueryResult};

use crate::base::Result;

use super::{Span, rows};

/// Sales of one place with one reason for being taxed or not, as issued.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Sales {
    pub tax_jurisdiction_id: i64,
    pub tax_reason: String,
    /// After discounts, before tax.
    pub sale_cents: i64,
    /// What of it was taxed.
    pub taxable_cents: i64,
}

/// Sales of documents issued in these days, credit notes taken off, by place and reason. One statement.
pub async fn sales(db: &impl ConnectionTrait, span: Span) -> Result<Vec<Sales>> {
    let sql = "SELECT i.tax_jurisdiction_id, l.tax_reason, \
         CAST(SUM(l.net_cents - l.discount_cents) AS BIGINT) AS sale_cents, \
         CAST(SUM(l.taxable_cents) AS BIGINT) AS taxable_cents \
         FROM invoice i JOIN invoice_line l ON l.invoice_id = i.id \
         WHERE i.issued_on >= $1 AND i.issued_on <= $2 AND i.returned_payment_id IS NULL \
         AND i.moved_from_invoice_id IS NULL \
         GROUP BY i.tax_jurisdiction_id, l.tax_reason";
    rows(db, sql, span.values()).await
}

/// Tax of one level, as issued.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Taxed {
    pub tax_level_id: i64,
    pub taxable_cents: i64,
    pub tax_cents: i64,
}

/// Tax of documents issued in these days by level. One statement.
pub async fn taxed(db: &impl ConnectionTrait, span: Span) -> Result<Vec<Taxed>> {
    let sql = "SELECT t.tax_level_id, CAST(SUM(t.taxable_cents) AS BIGINT) AS taxable_cents, \
         CAST(SUM(t.tax_cents) AS BIGINT) AS tax_cents \
         FROM invoice i JOIN invoice_tax t ON t.invoice_id = i.id \
         WHERE i.issued_on >= $1 AND i.issued_on <= $2 GROUP BY t.tax_level_id";
    rows(db, sql, span.values()).await
}

/// What sales tax payable says of one level, positive when owed.
#[derive(Clone, Debug, FromQueryResult)]
pub struct LevelBalance {
    pub tax_level_id: i64,
    pub name: String,
    pub kind: LevelKind,
    pub tax_jurisdiction_id: i64,
    pub jurisdiction: String,
    /// Owed before the first day.
    pub opening_cents: i64,
    /// Owed after the last.
    pub closing_cents: i64,
}

/// Every level that tax was ever posted to through the last day. One statement.
pub async fn level_balances(db: &impl ConnectionTrait, span: Span) -> Result<Vec<LevelBalance>> {
    let sql = "SELECT v.id AS tax_level_id, v.name, v.kind, j.id AS tax_jurisdiction_id, j.name AS jurisdiction, \
         s.opening_cents, s.closing_cents FROM (SELECT tax_level_id, \
         CAST(SUM(CASE WHEN entry_on < $1 THEN credit_cents - debit_cents ELSE 0 END) AS BIGINT) AS opening_cents, \
         CAST(SUM(credit_cents - debit_cents) AS BIGINT) AS closing_cents \
         FROM posting WHERE tax_level_id IS NOT NULL AND entry_on <= $2 GROUP BY tax_level_id) s \
         JOIN tax_level v ON v.id = s.tax_level_id JOIN tax_jurisdiction j ON j.id = v.tax_jurisdiction_id \
         ORDER BY j.name, j.id, v.position, v.id";
    rows(db, sql, span.values()).await
}

#[derive(FromQueryResult)]
struct Named {
    id: i64,
    name: String,
}

/// The names of places.
pub async fn jurisdictions(db: &impl ConnectionTrait) -> Result<Vec<(i64, String)>> {
    let sql = "SELECT id, name FROM tax_jurisdiction ORDER BY name, id";
    let found: Vec<Named> = rows(db, sql, Vec::new()).await?;
    Ok(found.into_iter().map(|row| (row.id, row.name)).collect())
}

/// The day on which a settlement counts: that of the payment, or of the invoice if the money was there before it. What
/// undoes one counts, with the other sign, on the day it was undone.
const COUNTS_ON: &str = "a.applied_on";

/// Settlements that are money: payments, and credit of other invoices. A credit note against its own invoice is none.
const MONEY: &str = "FROM allocation a JOIN invoice v ON v.id = a.invoice_id \
     LEFT JOIN invoice n ON n.id = a.credit_note_id \
     WHERE (a.payment_id IS NOT NULL OR n.credits_invoice_id <> a.invoice_id)";

/// The sale that is paid: of what was moved from a warranty payer's invoice to a customer it is the payer's.
const SALE: &str = "COALESCE(v.moved_from_invoice_id, v.id)";

/// The next invoices after this one that were paid or credited in these days, by id; at most `count`.
pub async fn moved(
    db: &impl ConnectionTrait,
    span: Span,
    (after, count): (i64, u64),
) -> Result<Vec<i64>> {
    #[derive(FromQueryResult)]
    struct Moved {
        id: i64,
    }
    let sql = format!(
        "SELECT id FROM (SELECT {SALE} AS id {MONEY} AND {COUNTS_ON} >= $1 AND {COUNTS_ON} <= $2 \
         UNION SELECT credits_invoice_id FROM invoice \
         WHERE credits_invoice_id IS NOT NULL AND moved_from_invoice_id IS NULL \
         AND issued_on >= $1 AND issued_on <= $2) m \
         WHERE id > $3 ORDER BY id LIMIT {count}"
    );
    let mut values = span.values();
    values.push(after.into());
    let found: Vec<Moved> = rows(db, &sql, values).await?;
    Ok(found.into_iter().map(|row| row.id).collect())
}

/// One line of an invoice or of a credit note on it.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Line {
    pub invoice_id: i64,
    pub tax_jurisdiction_id: i64,
    pub issued_on: NaiveDate,
    pub kind: ChargeKind,
    pub tax_reason: String,
    pub sale_cents: i64,
    pub taxable_cents: i64,
}

/// One tax of an invoice or of a credit note on it.
#[derive(Clone, Debug, FromQueryResult)]
pub struct DocumentTax {
    pub invoice_id: i64,
    pub issued_on: NaiveDate,
    pub tax_level_id: i64,
    pub taxable_cents: i64,
    pub tax_cents: i64,
}

/// What was paid of one invoice.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Paid {
    pub invoice_id: i64,
    /// Before the first day.
    pub before_cents: i64,
    /// Through the last.
    pub through_cents: i64,
}

/// Lines, taxes and payments of these invoices through the last day. Three statements.
pub async fn settled(
    db: &impl ConnectionTrait,
    span: Span,
    ids: &[i64],
) -> Result<(Vec<Line>, Vec<DocumentTax>, Vec<Paid>)> {
    // Numbers of our own rows, so they may stand in the text.
    let ids = ids
        .iter()
        .map(i64::to_string)
        .collect::<Vec<_>>()
        .join(", ");
    let own = format!(
        "(i.id IN ({ids}) OR i.credits_invoice_id IN ({ids})) AND i.issued_on <= $1 \
         AND i.returned_payment_id IS NULL AND i.moved_from_invoice_id IS NULL"
    );
    let lines = format!(
        "SELECT COALESCE(i.credits_invoice_id, i.id) AS invoice_id, i.tax_jurisdiction_id, i.issued_on, l.kind, \
         l.tax_reason, l.net_cents - l.discount_cents AS sale_cents, l.taxable_cents \
         FROM invoice i JOIN invoice_line l ON l.invoice_id = i.id WHERE {own}"
    );
    let taxes = format!(
        "SELECT COALESCE(i.credits_invoice_id, i.id) AS invoice_id, i.issued_on, t.tax_level_id, t.taxable_cents, \
         t.tax_cents FROM invoice i JOIN invoice_tax t ON t.invoice_id = i.id WHERE {own}"
    );
    let paid = format!(
        "SELECT {SALE} AS invoice_id, \
         CAST(SUM(CASE WHEN {COUNTS_ON} < $1 THEN a.amount_cents ELSE 0 END) AS BIGINT) AS before_cents, \
         CAST(SUM(a.amount_cents) AS BIGINT) AS through_cents {MONEY} AND a.invoice_id IN \
         (SELECT id FROM invoice WHERE id IN ({ids}) OR moved_from_invoice_id IN ({ids})) \
         AND {COUNTS_ON} <= $2 GROUP BY {SALE}"
    );
    Ok((
        rows(db, &lines, vec![span.to.into()]).await?,
        rows(db, &taxes, vec![span.to.into()]).await?,
        rows(db, &paid, span.values()).await?,
    ))
}
