//! What happened on a customer's account: every document and payment, and what was undone.

use chrono::NaiveDate;
use sea_orm::{ConnectionTrait, FromQueryResult, Statement};

use crate::base::Result;

/// One thing that happened, by its day; what it adds to what the customer owes, or takes off.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Moved {
    pub on_day: NaiveDate,
    /// A word of [`super::super::telling::statement::Kind`].
    pub kind: String,
    pub number: String,
    pub cents: i64,
}

/// Everything that moves the account of customer `$1`. What claims a refund moves nothing: the refund and the payment that
/// came back do. What a customer owes as a warranty payer is not on it; what pays that leaves its credit.
const MOVES: &str = "SELECT issued_on AS on_day, kind, number, total_cents AS cents, 1 AS place FROM invoice \
     WHERE customer_id = $1 AND returned_payment_id IS NULL \
     AND (payer <> 'warranty_payer' OR kind = 'credit_note') \
     UNION ALL SELECT received_on, 'payment', number, -amount_cents, 2 FROM payment WHERE customer_id = $1 \
     UNION ALL SELECT reversed_on, 'payment_undone', number, amount_cents, 3 FROM payment \
     WHERE customer_id = $1 AND reversed_on IS NOT NULL \
     UNION ALL SELECT refunded_on, 'refund', number, amount_cents, 4 FROM refund WHERE customer_id = $1 \
     UNION ALL SELECT w.written_off_on, 'write_off', w.number, -w.amount_cents, 5 FROM write_off w \
     JOIN invoice i ON i.id = w.invoice_id WHERE i.customer_id = $1 AND i.payer <> 'warranty_payer' \
     UNION ALL SELECT b.returned_on, 'write_off_undone', w.number, b.amount_cents, 6 FROM write_off_return b \
     JOIN write_off w ON w.id = b.write_off_id JOIN invoice i ON i.id = w.invoice_id WHERE i.customer_id = $1 \
     AND i.payer <> 'warranty_payer' \
     UNION ALL SELECT w.reversed_on, 'write_off_undone', w.number, w.amount_cents, 6 FROM write_off w \
     JOIN invoice i ON i.id = w.invoice_id WHERE i.customer_id = $1 AND i.payer <> 'warranty_payer' \
     AND w.reversed_on IS NOT NULL \
     AND NOT EXISTS (SELECT 1 FROM write_off_return b WHERE b.write_off_id = w.id) \
     UNION ALL SELECT reversed_on, 'refund_undone', number, -amount_cents, 7 FROM refund \
     WHERE customer_id = $1 AND reversed_on IS NOT NULL \
     UNION ALL SELECT a.applied_on, 'claims_paid', COALESCE(p.number, n.number), a.amount_cents, 8 FROM allocation a \
     JOIN invoice i ON i.id = a.invoice_id AND i.payer = 'warranty_payer' \
     LEFT JOIN payment p ON p.id = a.payment_id LEFT JOIN invoice n ON n.id = a.credit_note_id \
     WHERE i.customer_id = $1 AND (a.payment_id IS NOT NULL OR a.credit_note_id IS NOT NULL)";

#[derive(FromQueryResult)]
struct Sum {
    cents: i64,
}

/// What a customer owed before this day; below zero for credit.
pub async fn balance_before(
    db: &impl ConnectionTrait,
    customer_id: i64,
    day: NaiveDate,
) -> Result<i64> {
    let sql = format!(
        "SELECT CAST(COALESCE(SUM(cents), 0) AS BIGINT) AS cents FROM ({MOVES}) m WHERE on_day < $2"
    );
    let values = [customer_id.into(), day.into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    let row = Sum::find_by_statement(statement).one(db).await?;
    Ok(row.map_or(0, |row| row.cents))
}

/// What happened from one day through another, oldest first, at most `rows_max`.
pub async fn moves_between(
    db: &impl ConnectionTrait,
    customer_id: i64,
    (from, until): (NaiveDate, NaiveDate),
    rows_max: u64,
) -> Result<Vec<Moved>> {
    let sql = format!(
        "SELECT on_day, kind, number, cents FROM ({MOVES}) m WHERE on_day >= $2 AND on_day <= $3 \
         ORDER BY on_day, place, number LIMIT {rows_max}"
    );
    let values = [customer_id.into(), from.into(), until.into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    Ok(Moved::find_by_statement(statement).all(db).await?)
}
