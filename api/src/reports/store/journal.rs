//! The journal, a row for each posting, page by page.

use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::{ConnectionTrait, FromQueryResult};

use crate::base::Result;

use super::{Span, rows};

/// One posting with its entry and account.
#[derive(Clone, Debug, FromQueryResult)]
pub struct JournalRow {
    pub entry_id: i64,
    pub position: i32,
    pub number: String,
    pub entry_on: NaiveDate,
    pub posted_at: DateTime<Utc>,
    pub memo: String,
    pub document_kind: String,
    pub document_number: Option<String>,
    pub code: String,
    pub name: String,
    pub debit_cents: i64,
    pub credit_cents: i64,
    pub tax_level: Option<String>,
    pub reverses: Option<String>,
    pub hash: Option<String>,
}

/// The postings of the next entries of these days after a place, by day and then as posted; at most `count` entries.
///
/// The entries are found first, by their index, so that a page costs the same wherever it lies.
pub async fn journal(
    db: &impl ConnectionTrait,
    span: Span,
    (after, count): ((NaiveDate, i64), u64),
) -> Result<Vec<JournalRow>> {
    let sql = format!(
        "SELECT p.entry_id, p.position, e.number, e.entry_on, e.posted_at, e.memo, e.document_kind, \
         COALESCE(i.number, m.number, c.number, f.number, w.number, b.number, y.number, u.number) AS document_number, \
         a.code, a.name, p.debit_cents, p.credit_cents, v.name AS tax_level, r.number AS reverses, s.hash \
         FROM (SELECT * FROM journal_entry WHERE entry_on >= $1 AND entry_on <= $2 AND (entry_on, id) > ($3, $4) \
         ORDER BY entry_on, id LIMIT {count}) e \
         JOIN posting p ON p.entry_id = e.id JOIN account a ON a.id = p.account_id \
         LEFT JOIN tax_level v ON v.id = p.tax_level_id \
         LEFT JOIN journal_entry r ON r.id = e.reverses_entry_id \
         LEFT JOIN journal_seal s ON s.entry_id = e.id \
         LEFT JOIN invoice i ON e.document_kind = 'invoice' AND i.id = e.document_id \
         LEFT JOIN payment m ON e.document_kind = 'payment' AND m.id = e.document_id \
         LEFT JOIN service_call c ON e.document_kind = 'service_call' AND c.id = e.document_id \
         LEFT JOIN refund f ON e.document_kind = 'refund' AND f.id = e.document_id \
         LEFT JOIN write_off w ON e.document_kind = 'write_off' AND w.id = e.document_id \
         LEFT JOIN bank_deposit b ON e.document_kind = 'bank_deposit' AND b.id = e.document_id \
         LEFT JOIN payment_reversal x ON e.document_kind = 'payment_reversal' AND x.id = e.document_id \
         LEFT JOIN payment y ON y.id = x.payment_id \
         LEFT JOIN write_off_return k ON e.document_kind = 'write_off_return' AND k.id = e.document_id \
         LEFT JOIN write_off u ON u.id = k.write_off_id \
         ORDER BY e.entry_on, e.id, p.position"
    );
    let mut values = span.values();
    values.extend([after.0.into(), after.1.into()]);
    rows(db, &sql, values).await
}

/// One line of an account with its entry.
#[derive(Clone, Debug, FromQueryResult)]
pub struct AccountLine {
    pub id: i64,
    pub entry_on: NaiveDate,
    pub number: String,
    pub memo: String,
    pub debit_cents: i64,
    pub credit_cents: i64,
}

/// The next lines of an account in these days after a place, by day and then as posted; at most `count`.
pub async fn account_lines(
    db: &impl ConnectionTrait,
    (account_id, span): (i64, Span),
    (after, count): ((NaiveDate, i64), u64),
) -> Result<Vec<AccountLine>> {
    let sql = format!(
        "SELECT p.id, p.entry_on, e.number, e.memo, p.debit_cents, p.credit_cents \
         FROM posting p JOIN journal_entry e ON e.id = p.entry_id \
         WHERE p.account_id = $3 AND p.entry_on >= $1 AND p.entry_on <= $2 AND (p.entry_on, p.id) > ($4, $5) \
         ORDER BY p.entry_on, p.id LIMIT {count}"
    );
    let mut values = span.values();
    values.extend([account_id.into(), after.0.into(), after.1.into()]);
    rows(db, &sql, values).await
}
