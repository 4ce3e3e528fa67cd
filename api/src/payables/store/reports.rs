//! What was open on a day, and what happened on a supplier's account.

use chrono::NaiveDate;
use nameplate_entities::kinds::SupplierBillKind;
use nameplate_entities::supplier;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, Statement};

use crate::base::Result;

/// What was open with one supplier and one due day; credits below zero.
#[derive(Clone, Debug, PartialEq, Eq, FromQueryResult)]
pub struct OpenBill {
    pub supplier_id: i64,
    pub kind: SupplierBillKind,
    pub due_on: NaiveDate,
    pub open_cents: i64,
}

/// What was open at the end of a day, by supplier and due day, read from documents and what settled them by then.
///
/// # Errors
/// Internal only.
pub async fn open_on(db: &impl ConnectionTrait, on: NaiveDate) -> Result<Vec<OpenBill>> {
    let sql = "SELECT supplier_id, kind, due_on, CAST(SUM(cents) AS BIGINT) AS open_cents FROM (\
         SELECT supplier_id, kind, due_on, CASE WHEN kind = 'bill' THEN total_cents ELSE -total_cents END AS cents \
         FROM supplier_bill WHERE billed_on <= $1 \
         UNION ALL SELECT b.supplier_id, b.kind, b.due_on, \
         CASE WHEN b.kind = 'bill' THEN -b.total_cents ELSE b.total_cents END FROM supplier_bill_undoing u \
         JOIN supplier_bill b ON b.id = u.bill_id WHERE u.undone_on <= $1 \
         UNION ALL SELECT b.supplier_id, b.kind, b.due_on, -a.amount_cents FROM payable_allocation a \
         JOIN supplier_bill b ON b.id = a.bill_id WHERE a.applied_on <= $1 \
         UNION ALL SELECT c.supplier_id, c.kind, c.due_on, a.amount_cents FROM payable_allocation a \
         JOIN supplier_bill c ON c.id = a.credit_id WHERE a.applied_on <= $1) moved \
         GROUP BY supplier_id, kind, due_on HAVING SUM(cents) <> 0 ORDER BY supplier_id, kind, due_on";
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, [on.into()]);
    Ok(OpenBill::find_by_statement(statement).all(db).await?)
}

/// What is open now, by supplier and due day.
///
/// # Errors
/// Internal only.
pub async fn open_now(db: &impl ConnectionTrait) -> Result<Vec<OpenBill>> {
    let sql = "SELECT supplier_id, kind, due_on, \
         CAST(SUM(CASE WHEN kind = 'bill' THEN open_cents ELSE -open_cents END) AS BIGINT) AS open_cents FROM payable \
         WHERE open_cents > 0 GROUP BY supplier_id, kind, due_on ORDER BY supplier_id, kind, due_on";
    let statement = Statement::from_string(db.get_database_backend(), sql);
    Ok(OpenBill::find_by_statement(statement).all(db).await?)
}

/// What entries by hand say is payable at the end of a day: posted before bills were recorded, and not undone.
///
/// # Errors
/// Internal only.
pub async fn by_hand_on(db: &impl ConnectionTrait, on: NaiveDate) -> Result<i64> {
    let sql = "SELECT CAST(COALESCE(SUM(p.credit_cents - p.debit_cents), 0) AS BIGINT) AS cents FROM posting p \
         JOIN account a ON a.id = p.account_id AND a.role = 'payables' \
         JOIN journal_entry e ON e.id = p.entry_id AND e.document_kind = 'manual' WHERE p.entry_on <= $1";
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, [on.into()]);
    let row = Sum::find_by_statement(statement).one(db).await?;
    Ok(row.map_or(0, |row| row.cents))
}

/// The suppliers of these ids, in one statement.
///
/// # Errors
/// Internal only.
pub async fn named(
    db: &impl ConnectionTrait,
    ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<supplier::Model>> {
    Ok(supplier::Entity::find()
        .filter(supplier::Column::Id.is_in(ids))
        .all(db)
        .await?)
}

/// One thing that happened on a supplier's account.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Moved {
    pub on_day: NaiveDate,
    pub kind: String,
    pub number: String,
    pub reference: Option<String>,
    pub cents: i64,
}

/// Everything that moves the account of supplier `$1`.
const MOVES: &str = "SELECT billed_on AS on_day, kind, number, supplier_number AS reference, \
     CASE WHEN kind = 'bill' THEN total_cents ELSE -total_cents END AS cents, 1 AS place FROM supplier_bill \
     WHERE supplier_id = $1 \
     UNION ALL SELECT u.undone_on, CASE WHEN b.kind = 'bill' THEN 'bill_undone' ELSE 'credit_undone' END, b.number, \
     b.supplier_number, CASE WHEN b.kind = 'bill' THEN -b.total_cents ELSE b.total_cents END, 4 \
     FROM supplier_bill b JOIN supplier_bill_undoing u ON u.bill_id = b.id WHERE b.supplier_id = $1 \
     UNION ALL SELECT paid_on, 'payment', number, reference, -amount_cents, 2 FROM supplier_payment WHERE supplier_id = $1 \
     UNION ALL SELECT undone_on, 'payment_undone', number, reference, amount_cents, 3 FROM supplier_payment \
     WHERE supplier_id = $1 AND undone_on IS NOT NULL";

#[derive(FromQueryResult)]
struct Sum {
    cents: i64,
}

/// What a supplier was owed before this day.
///
/// # Errors
/// Internal only.
pub async fn balance_before(
    db: &impl ConnectionTrait,
    supplier_id: i64,
    day: NaiveDate,
) -> Result<i64> {
    balance(db, supplier_id, ("<", day)).await
}

/// What a supplier was owed at the end of this day.
///
/// # Errors
/// Internal only.
pub async fn balance_through(
    db: &impl ConnectionTrait,
    supplier_id: i64,
    day: NaiveDate,
) -> Result<i64> {
    balance(db, supplier_id, ("<=", day)).await
}

async fn balance(
    db: &impl ConnectionTrait,
    supplier_id: i64,
    (reach, day): (&str, NaiveDate),
) -> Result<i64> {
    let sql = format!(
        "SELECT CAST(COALESCE(SUM(cents), 0) AS BIGINT) AS cents FROM ({MOVES}) m WHERE on_day {reach} $2"
    );
    let values = [supplier_id.into(), day.into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    let row = Sum::find_by_statement(statement).one(db).await?;
    Ok(row.map_or(0, |row| row.cents))
}

/// What happened from one day through another, oldest first, at most `rows_max`.
pub async fn moves_between(
    db: &impl ConnectionTrait,
    supplier_id: i64,
    (from, until): (NaiveDate, NaiveDate),
    rows_max: u64,
) -> Result<Vec<Moved>> {
    let sql = format!(
        "SELECT on_day, kind, number, reference, cents FROM ({MOVES}) m WHERE on_day >= $2 AND on_day <= $3 \
         ORDER BY on_day, place, number LIMIT {rows_max}"
    );
    let values = [supplier_id.into(), from.into(), until.into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    Ok(Moved::find_by_statement(statement).all(db).await?)
}
