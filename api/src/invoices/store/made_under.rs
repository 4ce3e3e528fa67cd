//! What was made under tax rules, a price book or local rules: such rules are not put right any more.

use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::{ConnectionTrait, FromQueryResult, Statement, Value};

use crate::base::Result;

#[derive(FromQueryResult)]
struct Named {
    number: String,
}

/// The number of an estimate or bill that was priced by these tax rules.
pub async fn priced_by(
    db: &impl ConnectionTrait,
    tax_jurisdiction_id: i64,
) -> Result<Option<String>> {
    let sql = "SELECT e.number AS number FROM estimate_revision r JOIN estimate e ON e.id = r.estimate_id \
         WHERE r.tax_jurisdiction_id = $1 UNION ALL SELECT i.number FROM invoice i WHERE i.tax_jurisdiction_id = $1 \
         AND i.returned_payment_id IS NULL AND i.moved_from_invoice_id IS NULL \
         AND i.charge_for_invoice_id IS NULL LIMIT 1";
    let values = [tax_jurisdiction_id.into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    let named = Named::find_by_statement(statement).one(db).await?;
    Ok(named.map(|named| named.number))
}

/// The number of an estimate or bill that was priced by a book.
pub async fn priced_from(db: &impl ConnectionTrait, price_book_id: i64) -> Result<Option<String>> {
    let sql = "SELECT e.number AS number FROM estimate_revision r JOIN estimate e ON e.id = r.estimate_id \
         WHERE r.price_book_id = $1 UNION ALL SELECT i.number FROM invoice i WHERE i.price_book_id = $1 LIMIT 1";
    let values = [price_book_id.into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    let named = Named::find_by_statement(statement).one(db).await?;
    Ok(named.map(|named| named.number))
}

/// From an instant on, and before another.
#[derive(Clone, Copy, Debug)]
pub struct Span {
    pub from: DateTime<Utc>,
    /// None for open.
    pub until: Option<DateTime<Utc>>,
    /// The instant they were recorded; what was issued before was not held to them.
    pub recorded_at: DateTime<Utc>,
    /// The days that an invoice is dated on which they hold for; the last is not counted, none for open.
    pub days: (NaiveDate, Option<NaiveDate>),
}

/// The number of an estimate sent or an invoice issued in a time for a machine at this place; an empty region stands
/// for the whole country.
pub async fn went_out_at(
    db: &impl ConnectionTrait,
    (country, region): (&str, &str),
    span: Span,
) -> Result<Option<String>> {
    let place = "AND UPPER(TRIM(a.country)) = $1 AND ($2 = '' OR UPPER(TRIM(a.region)) = $2)";
    let mut values: Vec<Value> = vec![country.into(), region.into(), span.from.into()];
    values.extend(span.until.map(Value::from));
    let within = |at: &str| match span.until {
        None => format!("{at} >= $3"),
        Some(_) => format!("{at} >= $3 AND {at} < $4"),
    };
    let sent = within("r.sent_at");
    let next = values.len() + 1;
    let (from_on, until_on) = span.days;
    values.extend([span.recorded_at.into(), from_on.into()]);
    values.extend(until_on.map(Value::from));
    let before = until_on.map(|_| format!(" AND i.issued_on < ${}", next + 2));
    let issued = format!(
        "i.issued_at >= ${next} AND i.issued_on >= ${}{}",
        next + 1,
        before.unwrap_or_default()
    );
    let sql = format!(
        "SELECT e.number AS number FROM estimate_revision r JOIN estimate e ON e.id = r.estimate_id \
         JOIN service_call c ON c.id = e.call_id \
         JOIN service_address a ON a.id = c.service_address_id {place} WHERE {sent} \
         UNION ALL SELECT i.number FROM invoice i JOIN service_address a ON a.id = i.service_address_id {place} \
         WHERE i.kind = 'invoice' AND i.charge_for_invoice_id IS NULL AND {issued} LIMIT 1"
    );
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    let named = Named::find_by_statement(statement).one(db).await?;
    Ok(named.map(|named| named.number))
}
