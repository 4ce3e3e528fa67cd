//! Money that came in, by day and method.

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
    pub amount_cents: i64,
    pub payment_count: i64,
}

/// By day and method. The caller bounds the days.
pub async fn takings(db: &impl ConnectionTrait, span: Span) -> Result<Vec<Taken>> {
    let sql = "SELECT received_on, method, CAST(SUM(amount_cents) AS BIGINT) AS amount_cents, \
         CAST(COUNT(*) AS BIGINT) AS payment_count FROM payment \
         WHERE received_on >= $1 AND received_on <= $2 GROUP BY received_on, method ORDER BY received_on, method";
    rows(db, sql, span.values()).await
}
