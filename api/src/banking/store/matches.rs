//! Postings on banks' accounts, and what they are matched to.
//!
//! What is open on an account is found by looking each of its postings up in `bank_match_posting`; both sides are read
//! from indexes, one account at a time.

use chrono::NaiveDate;
use nameplate_entities::{bank_line, bank_match, bank_match_posting, bank_reconciliation, posting};
use sea_orm::sea_query::{Expr, ExprTrait, Query};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, Select, Statement,
    Value,
};

use crate::base::{Error, Result};

/// A posting with what its entry and document say.
#[derive(Clone, Debug, PartialEq, Eq, FromQueryResult)]
pub struct Booked {
    pub id: i64,
    pub account_id: i64,
    pub entry_id: i64,
    pub entry_on: NaiveDate,
    /// Money in is positive.
    pub amount_cents: i64,
    pub entry_number: String,
    pub memo: String,
    pub document_kind: String,
    /// What is written on the check or transfer of a refund.
    pub reference: Option<String>,
    /// The customer of a refund or of a payment that came back.
    pub party: Option<String>,
    pub match_id: Option<i64>,
}

const BOOKED: &str = "SELECT p.id, p.account_id, p.entry_id, p.entry_on, p.debit_cents - p.credit_cents AS amount_cents, \
     e.number AS entry_number, e.memo, e.document_kind, f.reference, c.name AS party, m.match_id \
     FROM posting p JOIN journal_entry e ON e.id = p.entry_id \
     LEFT JOIN bank_match_posting m ON m.posting_id = p.id \
     LEFT JOIN refund f ON e.document_kind = 'refund' AND f.id = e.document_id \
     LEFT JOIN payment_reversal r ON e.document_kind = 'payment_reversal' AND r.id = e.document_id \
     LEFT JOIN payment y ON y.id = r.payment_id \
     LEFT JOIN customer c ON c.id = COALESCE(f.customer_id, y.customer_id)";

async fn booked(db: &impl ConnectionTrait, rest: &str, values: Vec<Value>) -> Result<Vec<Booked>> {
    let sql = format!("{BOOKED} {rest}");
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    Ok(Booked::find_by_statement(statement).all(db).await?)
}

/// Postings with these ids.
pub async fn by_ids(db: &impl ConnectionTrait, ids: &[i64]) -> Result<Vec<Booked>> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let places: Vec<String> = (1..=ids.len()).map(|at| format!("${at}")).collect();
    let rest = format!("WHERE p.id IN ({}) ORDER BY p.id", places.join(", "));
    booked(db, &rest, ids.iter().map(|id| (*id).into()).collect()).await
}

/// Postings of an account in these days that nothing is matched to, at most `count`.
pub async fn open_between(
    db: &impl ConnectionTrait,
    account_id: i64,
    (from, to): (NaiveDate, NaiveDate),
    count: u64,
) -> Result<Vec<Booked>> {
    let rest = format!(
        "WHERE p.account_id = $1 AND p.entry_on >= $2 AND p.entry_on <= $3 AND m.posting_id IS NULL \
         ORDER BY p.entry_on, p.id LIMIT {count}"
    );
    let values = vec![account_id.into(), from.into(), to.into()];
    booked(db, &rest, values).await
}

/// Postings of an account through a day that no statement shows that is reconciled through it, after a place; at most
/// `count`.
pub async fn outstanding(
    db: &impl ConnectionTrait,
    (account_id, through): (i64, NaiveDate),
    after: (NaiveDate, i64),
    count: u64,
) -> Result<Vec<Booked>> {
    let cancelled = cancelled("p", "$2");
    let rest = format!(
        "WHERE p.account_id = $1 AND p.entry_on <= $2 AND (p.entry_on, p.id) > ($3, $4) AND {NOT_SHOWN} \
         AND NOT {cancelled} \
         ORDER BY p.entry_on, p.id LIMIT {count}"
    );
    let values = vec![
        account_id.into(),
        through.into(),
        after.0.into(),
        after.1.into(),
    ];
    booked(db, &rest, values).await
}

/// The same as a list to page through.
pub fn not_shown(account_id: i64, through: NaiveDate) -> Select<posting::Entity> {
    let line = |column| (bank_line::Entity, column);
    let shown = Query::select()
        .expr(Expr::value(1))
        .from(bank_match_posting::Entity)
        .inner_join(
            bank_line::Entity,
            Expr::col(line(bank_line::Column::MatchId)).equals((
                bank_match_posting::Entity,
                bank_match_posting::Column::MatchId,
            )),
        )
        .inner_join(
            bank_reconciliation::Entity,
            Expr::col((bank_reconciliation::Entity, bank_reconciliation::Column::Id))
                .equals(line(bank_line::Column::ReconciliationId)),
        )
        .and_where(
            Expr::col((
                bank_match_posting::Entity,
                bank_match_posting::Column::PostingId,
            ))
            .equals((posting::Entity, posting::Column::Id)),
        )
        .and_where(bank_reconciliation::Column::ThroughOn.lte(through))
        .to_owned();
    posting::Entity::find()
        .filter(posting::Column::AccountId.eq(account_id))
        .filter(posting::Column::EntryOn.lte(through))
        .filter(Expr::exists(shown).not())
        .filter(Expr::cust(cancelled("posting", &format!("'{through}'"))).not())
}

/// A place before every posting: no books are older than the clocks of computers.
pub fn first() -> (NaiveDate, i64) {
    (NaiveDate::default(), 0)
}

/// An entry and the one that undoes it.
#[derive(Clone, Debug, PartialEq, Eq, FromQueryResult)]
pub struct Reversed {
    pub entry_id: i64,
    pub entry: String,
    pub reversal_id: i64,
    pub reversal: String,
}

/// Reversals that have a posting on an account which nothing is matched to, and the entries they undo; at most `count`.
pub async fn reversed(
    db: &impl ConnectionTrait,
    account_id: i64,
    count: u64,
) -> Result<Vec<Reversed>> {
    let free = |entry: &str| {
        format!(
            "NOT EXISTS (SELECT 1 FROM posting q JOIN bank_match_posting m ON m.posting_id = q.id \
             WHERE q.entry_id = {entry}.id AND q.account_id = $1)"
        )
    };
    let sql = format!(
        "SELECT o.id AS entry_id, o.number AS entry, r.id AS reversal_id, r.number AS reversal FROM journal_entry r \
         JOIN journal_entry o ON o.id = r.reverses_entry_id WHERE EXISTS \
         (SELECT 1 FROM posting p WHERE p.entry_id = r.id AND p.account_id = $1) AND {} AND {} ORDER BY r.id LIMIT {count}",
        free("r"),
        free("o")
    );
    let statement =
        Statement::from_sql_and_values(db.get_database_backend(), sql, [account_id.into()]);
    Ok(Reversed::find_by_statement(statement).all(db).await?)
}

/// The postings of two entries on an account.
pub async fn of_entries(
    db: &impl ConnectionTrait,
    account_id: i64,
    [one, other]: [i64; 2],
) -> Result<Vec<Booked>> {
    let rest = "WHERE p.account_id = $1 AND p.entry_id IN ($2, $3) ORDER BY p.id";
    booked(db, rest, vec![account_id.into(), one.into(), other.into()]).await
}

/// The posting is matched without a line to others, the last of them through this day: they cancel out.
fn cancelled(posting: &str, through: &str) -> String {
    format!(
        "EXISTS (SELECT 1 FROM bank_match_posting s WHERE s.posting_id = {posting}.id \
         AND NOT EXISTS (SELECT 1 FROM bank_line l WHERE l.match_id = s.match_id) \
         AND NOT EXISTS (SELECT 1 FROM bank_match_posting t JOIN posting o ON o.id = t.posting_id \
         WHERE t.match_id = s.match_id AND o.entry_on > {through}))"
    )
}

/// No line that is reconciled through the day `$2` is matched to posting `p`.
const NOT_SHOWN: &str = "NOT EXISTS (SELECT 1 FROM bank_match_posting s JOIN bank_line l ON l.match_id = s.match_id \
     JOIN bank_reconciliation x ON x.id = l.reconciliation_id WHERE s.posting_id = p.id AND x.through_on <= $2)";

/// How the books of an account stand against its statement through a day.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromQueryResult)]
pub struct Standing {
    pub books_cents: i64,
    /// In the books through the day, and not on a statement.
    pub outstanding_in_cents: i64,
    /// The same of money out; below zero.
    pub outstanding_out_cents: i64,
    /// On a statement through the day, and in the books only later.
    pub later_cents: i64,
}

/// How the books of an account stand against its statements through a day.
pub async fn standing(
    db: &impl ConnectionTrait,
    account_id: i64,
    through: NaiveDate,
) -> Result<Standing> {
    let net = "p.debit_cents - p.credit_cents";
    let sum = |when: &str| {
        format!("CAST(COALESCE(SUM(CASE WHEN {when} THEN {net} ELSE 0 END), 0) AS BIGINT)")
    };
    let cancelled = cancelled("p", "$2");
    let sql = format!(
        "SELECT {} AS books_cents, {} AS outstanding_in_cents, {} AS outstanding_out_cents, {} AS later_cents \
         FROM (SELECT p.entry_on, p.debit_cents, p.credit_cents, \
         CASE WHEN {cancelled} THEN 2 WHEN {NOT_SHOWN} THEN 0 ELSE 1 END AS shown \
         FROM posting p WHERE p.account_id = $1) p",
        sum("p.entry_on <= $2"),
        sum("p.entry_on <= $2 AND p.shown = 0 AND p.debit_cents > 0"),
        sum("p.entry_on <= $2 AND p.shown = 0 AND p.credit_cents > 0"),
        sum("p.entry_on > $2 AND p.shown = 1"),
    );
    let values = [account_id.into(), through.into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    Ok(Standing::find_by_statement(statement)
        .one(db)
        .await?
        .unwrap_or_default())
}

/// The match, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<bank_match::Model> {
    bank_match::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "match"))
}

/// Ids of the postings of a match.
pub async fn postings_of(db: &impl ConnectionTrait, match_id: i64) -> Result<Vec<i64>> {
    let rows = bank_match_posting::Entity::find()
        .filter(bank_match_posting::Column::MatchId.eq(match_id))
        .all(db)
        .await?;
    Ok(rows.into_iter().map(|row| row.posting_id).collect())
}

#[derive(FromQueryResult)]
struct Shown {
    count: i64,
}

/// Whether a statement of a bank shows a posting of this document, by its kind and id.
pub async fn shows(
    db: &impl ConnectionTrait,
    (document_kind, document_id): (&str, i64),
) -> Result<bool> {
    let sql = "SELECT CAST(COUNT(*) AS BIGINT) AS count FROM journal_entry e JOIN posting p ON p.entry_id = e.id \
         JOIN bank_match_posting m ON m.posting_id = p.id WHERE e.document_kind = $1 AND e.document_id = $2";
    let values = [document_kind.into(), document_id.into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    let found = Shown::find_by_statement(statement).one(db).await?;
    Ok(found.is_some_and(|row| row.count > 0))
}
