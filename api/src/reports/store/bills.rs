//! What suppliers' bills say about expenses, as recorded and as far as they are paid.

use sea_orm::{ConnectionTrait, FromQueryResult};

use crate::base::Result;

use super::{Span, rows};

/// What bills recorded in some days took to one expense account, credits taken off.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Recorded {
    pub account_id: i64,
    pub cents: i64,
}

/// Expense lines of bills of these days by account, less those of bills undone in them: what the books took from bills.
/// One statement.
pub async fn recorded(db: &impl ConnectionTrait, span: Span) -> Result<Vec<Recorded>> {
    let sql = "SELECT l.account_id, CAST(SUM(CASE WHEN b.kind = 'bill' THEN s.sign * l.amount_cents \
         ELSE -s.sign * l.amount_cents END) AS BIGINT) AS cents FROM (\
         SELECT id, 1 AS sign FROM supplier_bill WHERE billed_on >= $1 AND billed_on <= $2 \
         UNION ALL SELECT bill_id, -1 FROM supplier_bill_undoing WHERE undone_on >= $1 AND undone_on <= $2) s \
         JOIN supplier_bill b ON b.id = s.id JOIN supplier_bill_line l ON l.bill_id = s.id \
         JOIN account a ON a.id = l.account_id AND a.kind = 'expense' GROUP BY l.account_id";
    rows(db, sql, span.values()).await
}

/// The next bills and credits after this one of which something was settled in these days, by id; at most `count`.
pub async fn moved(
    db: &impl ConnectionTrait,
    span: Span,
    (after, count): (i64, u64),
) -> Result<Vec<i64>> {
    #[derive(FromQueryResult)]
    struct Moved {
        id: i64,
    }
    let mut values = span.values();
    values.push(after.into());
    let found: Vec<Moved> = rows(db, &moved_sql(count), values).await?;
    Ok(found.into_iter().map(|row| row.id).collect())
}

/// The statement behind `moved`: it reads the allocations of the days asked for, by `ix_payable_allocation_applied_on`.
pub fn moved_sql(count: u64) -> String {
    format!(
        "SELECT id FROM (SELECT bill_id AS id FROM payable_allocation WHERE applied_on >= $1 AND applied_on <= $2 \
         UNION SELECT credit_id FROM payable_allocation \
         WHERE credit_id IS NOT NULL AND applied_on >= $1 AND applied_on <= $2) m WHERE id > $3 ORDER BY id LIMIT {count}"
    )
}

/// One line of a bill or credit.
#[derive(Clone, Debug, FromQueryResult)]
pub struct BillLine {
    pub bill_id: i64,
    pub is_credit: bool,
    pub position: i32,
    pub amount_cents: i64,
    /// The account of an expense; none for parts, what is spread over them, and what the shop keeps.
    pub account_id: Option<i64>,
}

/// What was settled of one bill, or laid of one credit.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Settled {
    pub bill_id: i64,
    /// Before the first day.
    pub before_cents: i64,
    /// Through the last.
    pub through_cents: i64,
}

/// Lines of these bills, and what was settled of each through the last day. Two statements.
pub async fn settled(
    db: &impl ConnectionTrait,
    span: Span,
    ids: &[i64],
) -> Result<(Vec<BillLine>, Vec<Settled>)> {
    // Numbers of our own rows, so they may stand in the text.
    let ids = ids
        .iter()
        .map(i64::to_string)
        .collect::<Vec<_>>()
        .join(", ");
    let lines = format!(
        "SELECT l.bill_id, b.kind = 'credit' AS is_credit, l.position, l.amount_cents, a.id AS account_id \
         FROM supplier_bill_line l JOIN supplier_bill b ON b.id = l.bill_id \
         LEFT JOIN account a ON a.id = l.account_id AND a.kind = 'expense' \
         WHERE l.bill_id IN ({ids}) AND b.id IN ({ids})"
    );
    let settled = format!(
        "SELECT bill_id, CAST(SUM(CASE WHEN applied_on < $1 THEN amount_cents ELSE 0 END) AS BIGINT) AS before_cents, \
         CAST(SUM(amount_cents) AS BIGINT) AS through_cents FROM (\
         SELECT bill_id, applied_on, amount_cents FROM payable_allocation WHERE bill_id IN ({ids}) AND applied_on <= $2 \
         UNION ALL SELECT credit_id, applied_on, amount_cents FROM payable_allocation \
         WHERE credit_id IN ({ids}) AND applied_on <= $2) t GROUP BY bill_id"
    );
    Ok((
        rows(db, &lines, Vec::new()).await?,
        rows(db, &settled, span.values()).await?,
    ))
}
