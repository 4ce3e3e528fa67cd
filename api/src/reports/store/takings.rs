//! Money that came in, by day and method, less what was undone, on the day that it was undone.

use chrono::NaiveDate;
use nameplate_entities::kinds::PaymentMethod;
use sea_orm::{ConnectionTrait, FromQueryResult};

use crate::base::Result;

use super::{Span, rows};

/// What came in on one day by one method.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Taken {
    pub received_on: NaiveDate,
    pub method: PaymentMethod,
    /// Below zero where more was undone than came in.
    pub amount_cents: i64,
    /// Payments that came in; those undone are not taken off.
    pub payment_count: i64,
}

/// By day and method. The caller bounds the days.
pub async fn takings(db: &impl ConnectionTrait, span: Span) -> Result<Vec<Taken>> {
    let sql = "SELECT received_on, method, CAST(SUM(amount_cents) AS BIGINT) AS amount_cents, \
         CAST(SUM(came_in) AS BIGINT) AS payment_count FROM (\
         SELECT received_on, method, amount_cents, 1 AS came_in FROM payment \
         WHERE received_on >= $1 AND received_on <= $2 \
         UNION ALL SELECT r.reversed_on, p.method, -p.amount_cents, 0 FROM payment_reversal r \
         JOIN payment p ON p.id = r.payment_id WHERE r.reversed_on >= $1 AND r.reversed_on <= $2) t \
         GROUP BY received_on, method ORDER BY received_on, method";
    rows(db, sql, span.values()).await
}
