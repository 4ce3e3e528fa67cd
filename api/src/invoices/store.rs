//! Rows of invoices, payments and what is open.

use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::kinds::ReceivableKind;
use nameplate_entities::{
    allocation, appliance, appliance_type, customer, estimate_option, estimate_revision, invoice,
    invoice_line, invoice_tax, payment, receivable, service_address, service_call, tax_level,
};
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Query};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect, Select, Statement, Value,
};

use crate::base::{Error, Result};

/// The invoice or credit note, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_invoice(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<invoice::Model> {
    invoice::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "invoice"))
}

/// The payment with this id.
///
/// # Errors
/// `NotFound`.
pub async fn get_payment(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<payment::Model> {
    payment::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "payment"))
}

/// The credit note that takes this invoice back, if there is one.
pub async fn credit_of(
    db: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<Option<invoice::Model>> {
    Ok(invoice::Entity::find()
        .filter(invoice::Column::CreditsInvoiceId.eq(invoice_id))
        .one(db)
        .await?)
}

/// Whether an invoice of a call stands, not taken back by a credit note.
pub async fn is_billed(db: &impl ConnectionTrait, call_id: i64) -> Result<bool> {
    let documents = invoice::Entity::find()
        .filter(invoice::Column::CallId.eq(call_id))
        .all(db)
        .await?;
    Ok(documents.iter().any(|invoice| {
        let is_credit_of_it = |other: &invoice::Model| other.credits_invoice_id == Some(invoice.id);
        invoice.kind == ReceivableKind::Invoice && !documents.iter().any(is_credit_of_it)
    }))
}

/// An invoice of this revision that no credit note takes back.
pub async fn standing_invoice(
    db: &impl ConnectionTrait,
    revision_id: i64,
) -> Result<Option<invoice::Model>> {
    let credited = Query::select()
        .column(invoice::Column::CreditsInvoiceId)
        .from(invoice::Entity)
        .and_where(invoice::Column::EstimateRevisionId.eq(revision_id))
        .and_where(invoice::Column::CreditsInvoiceId.is_not_null())
        .to_owned();
    Ok(invoice::Entity::find()
        .filter(invoice::Column::EstimateRevisionId.eq(revision_id))
        .filter(invoice::Column::Kind.eq(ReceivableKind::Invoice))
        .filter(invoice::Column::Id.not_in_subquery(credited))
        .one(db)
        .await?)
}

/// The last invoice billed under an exemption certificate that no credit note takes back.
pub async fn last_under(
    db: &impl ConnectionTrait,
    certificate_id: i64,
) -> Result<Option<invoice::Model>> {
    // By the option that was billed: what was done, else what was accepted.
    let sql = "SELECT i.* FROM estimate_option o JOIN estimate_revision r ON r.id = o.revision_id \
         JOIN invoice i ON i.billed_option_id = o.id \
         OR (i.billed_option_id IS NULL AND i.estimate_revision_id = r.id AND r.accepted_option_id = o.id) \
         WHERE o.tax_exemption_id = $1 AND i.kind = 'invoice' \
         AND NOT EXISTS (SELECT 1 FROM invoice c WHERE c.credits_invoice_id = i.id) \
         ORDER BY i.issued_on DESC, i.id DESC LIMIT 1";
    let backend = db.get_database_backend();
    let statement = Statement::from_sql_and_values(backend, sql, [certificate_id.into()]);
    Ok(invoice::Entity::find()
        .from_raw_sql(statement)
        .one(db)
        .await?)
}

/// The certificate that an invoice was billed under, if there was one.
pub async fn certificate_of(
    db: &impl ConnectionTrait,
    invoice: &invoice::Model,
) -> Result<Option<i64>> {
    let mut option_id = invoice.billed_option_id;
    if let (None, Some(revision_id)) = (option_id, invoice.estimate_revision_id) {
        let revision = estimate_revision::Entity::find_by_id(revision_id).one(db);
        option_id = revision
            .await?
            .and_then(|revision| revision.accepted_option_id);
    }
    let Some(option_id) = option_id else {
        return Ok(None);
    };
    let option = estimate_option::Entity::find_by_id(option_id).one(db);
    Ok(option.await?.and_then(|option| option.tax_exemption_id))
}

#[derive(FromQueryResult)]
struct Named {
    number: String,
}

/// The number of an estimate that was priced by these tax rules; every bill is of one.
pub async fn priced_by(
    db: &impl ConnectionTrait,
    tax_jurisdiction_id: i64,
) -> Result<Option<String>> {
    let sql = "SELECT e.number AS number FROM estimate_revision r JOIN estimate e ON e.id = r.estimate_id \
         WHERE r.tax_jurisdiction_id = $1 ORDER BY r.id LIMIT 1";
    let values = [tax_jurisdiction_id.into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    let named = Named::find_by_statement(statement).one(db).await?;
    Ok(named.map(|named| named.number))
}

/// The number of the first estimate that was priced by a book.
pub async fn priced_from(db: &impl ConnectionTrait, price_book_id: i64) -> Result<Option<String>> {
    let sql = "SELECT e.number AS number FROM estimate_revision r JOIN estimate e ON e.id = r.estimate_id \
         WHERE r.price_book_id = $1 ORDER BY r.id LIMIT 1";
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
}

/// The number of an estimate sent or an invoice issued in a time for a machine at this place; an empty region stands
/// for the whole country.
pub async fn went_out_at(
    db: &impl ConnectionTrait,
    (country, region): (&str, &str),
    span: Span,
) -> Result<Option<String>> {
    let place = "JOIN service_address a ON a.id = c.service_address_id \
         AND UPPER(TRIM(a.country)) = $1 AND ($2 = '' OR UPPER(TRIM(a.region)) = $2)";
    let mut values: Vec<Value> = vec![country.into(), region.into(), span.from.into()];
    values.extend(span.until.map(Value::from));
    let within = |at: &str| match span.until {
        None => format!("{at} >= $3"),
        Some(_) => format!("{at} >= $3 AND {at} < $4"),
    };
    let (sent, issued) = (within("r.sent_at"), within("i.issued_at"));
    let sql = format!(
        "SELECT e.number AS number FROM estimate_revision r JOIN estimate e ON e.id = r.estimate_id \
         JOIN service_call c ON c.id = e.call_id {place} WHERE {sent} \
         UNION ALL SELECT i.number FROM invoice i JOIN service_call c ON c.id = i.call_id {place} \
         WHERE i.kind = 'invoice' AND {issued} LIMIT 1"
    );
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    let named = Named::find_by_statement(statement).one(db).await?;
    Ok(named.map(|named| named.number))
}

/// Lines of a document, in order.
pub async fn lines_of(
    db: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<Vec<invoice_line::Model>> {
    Ok(invoice_line::Entity::find()
        .filter(invoice_line::Column::InvoiceId.eq(invoice_id))
        .order_by_asc(invoice_line::Column::Position)
        .all(db)
        .await?)
}

/// Taxes of a document, in order.
pub async fn taxes_of(
    db: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<Vec<invoice_tax::Model>> {
    Ok(invoice_tax::Entity::find()
        .filter(invoice_tax::Column::InvoiceId.eq(invoice_id))
        .order_by_asc(invoice_tax::Column::Position)
        .all(db)
        .await?)
}

/// Levels with these ids.
pub async fn levels(
    db: &impl ConnectionTrait,
    ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<tax_level::Model>> {
    Ok(tax_level::Entity::find()
        .filter(tax_level::Column::Id.is_in(ids))
        .all(db)
        .await?)
}

/// A call with everything its invoice names.
pub struct Billed {
    pub call: service_call::Model,
    pub customer: customer::Model,
    pub address: service_address::Model,
    pub appliance: appliance::Model,
    pub appliance_type: appliance_type::Model,
}

/// The call to bill, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn billed(db: &impl ConnectionTrait, path: &str, call_id: i64) -> Result<Billed> {
    let call = service_call::Entity::find_by_id(call_id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "service call"))?;
    let gone = || Error::internal("what a call points at is gone");
    let customer = customer::Entity::find_by_id(call.customer_id).one(db);
    let customer = customer.await?.ok_or_else(gone)?;
    let address = service_address::Entity::find_by_id(call.service_address_id).one(db);
    let address = address.await?.ok_or_else(gone)?;
    let appliance = appliance::Entity::find_by_id(call.appliance_id).one(db);
    let appliance = appliance.await?.ok_or_else(gone)?;
    let of_type = appliance_type::Entity::find_by_id(appliance.appliance_type_id).one(db);
    Ok(Billed {
        appliance_type: of_type.await?.ok_or_else(gone)?,
        call,
        customer,
        address,
        appliance,
    })
}

/// What a customer owes, oldest due first.
pub async fn open_of(
    db: &impl ConnectionTrait,
    customer_id: i64,
) -> Result<Vec<receivable::Model>> {
    Ok(receivable::Entity::find()
        .filter(receivable::Column::CustomerId.eq(customer_id))
        .filter(receivable::Column::OpenCents.gt(0))
        .order_by_asc(receivable::Column::DueOn)
        .order_by_asc(receivable::Column::InvoiceId)
        .all(db)
        .await?)
}

/// What is open on these invoices of a customer.
pub async fn receivables(
    db: &impl ConnectionTrait,
    customer_id: i64,
    invoice_ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<receivable::Model>> {
    Ok(receivable::Entity::find()
        .filter(receivable::Column::CustomerId.eq(customer_id))
        .filter(receivable::Column::InvoiceId.is_in(invoice_ids))
        .all(db)
        .await?)
}

/// What is open on an invoice.
pub async fn receivable_of(
    db: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<Option<receivable::Model>> {
    Ok(receivable::Entity::find_by_id(invoice_id).one(db).await?)
}

/// What settles an invoice, oldest first, with the payment where it is one.
pub async fn settled_by(
    db: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<Vec<(allocation::Model, Option<payment::Model>)>> {
    let rows = allocation::Entity::find()
        .filter(allocation::Column::InvoiceId.eq(invoice_id))
        .order_by_asc(allocation::Column::Id)
        .all(db)
        .await?;
    let ids = rows.iter().filter_map(|row| row.payment_id);
    let payments = payment::Entity::find()
        .filter(payment::Column::Id.is_in(ids))
        .all(db)
        .await?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let paid = payments.iter().find(|paid| Some(paid.id) == row.payment_id);
            (row, paid.cloned())
        })
        .collect())
}

/// What a credit note settled.
pub async fn settled_with(db: &impl ConnectionTrait, credit_note_id: i64) -> Result<i64> {
    let rows = allocation::Entity::find()
        .filter(allocation::Column::CreditNoteId.eq(credit_note_id))
        .all(db)
        .await?;
    rows.iter()
        .try_fold(0_i64, |sum, row| sum.checked_add(row.amount_cents))
        .ok_or_else(|| Error::internal("a credit note's sum is too large"))
}

/// Invoices and credit notes, narrowed.
pub fn invoices(customer_id: Option<i64>, open_only: bool) -> Select<invoice::Entity> {
    let mut select = invoice::Entity::find();
    if let Some(id) = customer_id {
        select = select.filter(invoice::Column::CustomerId.eq(id));
    }
    if open_only {
        let open = Query::select()
            .column(receivable::Column::InvoiceId)
            .from(receivable::Entity)
            .and_where(receivable::Column::OpenCents.gt(0))
            .to_owned();
        select = select.filter(invoice::Column::Id.in_subquery(open));
    }
    select
}

/// Payments, narrowed to a customer's.
pub fn payments(customer_id: Option<i64>) -> Select<payment::Entity> {
    let select = payment::Entity::find();
    match customer_id {
        Some(id) => select.filter(payment::Column::CustomerId.eq(id)),
        None => select,
    }
}

/// What a customer owes, and what the shop owes the customer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Owed {
    pub owed_cents: i64,
    pub credit_cents: i64,
}

#[derive(FromQueryResult)]
struct Sum {
    cents: i64,
}

/// Balances of one customer: three sums over that customer's own rows.
///
/// # Errors
/// Internal only.
pub async fn owed_by(db: &impl ConnectionTrait, customer_id: i64) -> Result<Owed> {
    let backend = db.get_database_backend();
    let sum = async |sql: &str| -> Result<i64> {
        let statement = Statement::from_sql_and_values(backend, sql, [customer_id.into()]);
        let row = Sum::find_by_statement(statement).one(db).await?;
        Ok(row.map_or(0, |row| row.cents))
    };
    let owed_cents = sum(
        "SELECT CAST(COALESCE(SUM(open_cents), 0) AS BIGINT) AS cents FROM receivable \
         WHERE customer_id = $1 AND open_cents > 0",
    )
    .await?;
    let unallocated = sum(
        "SELECT CAST(COALESCE(SUM(unallocated_cents), 0) AS BIGINT) AS cents FROM payment \
         WHERE customer_id = $1",
    )
    .await?;
    let credited = sum(
        "SELECT CAST(COALESCE(SUM(-total_cents - COALESCE((SELECT SUM(amount_cents) FROM allocation \
         WHERE credit_note_id = invoice.id), 0)), 0) AS BIGINT) AS cents FROM invoice \
         WHERE customer_id = $1 AND kind = 'credit_note'",
    )
    .await?;
    Ok(Owed {
        owed_cents,
        credit_cents: unallocated.saturating_add(credited),
    })
}

/// What one customer has open with one due date.
#[derive(Clone, Debug, FromQueryResult)]
pub struct OpenRow {
    pub customer_id: i64,
    pub due_on: NaiveDate,
    pub open_cents: i64,
}

/// What is open now, by customer and due date.
pub async fn open_now(db: &impl ConnectionTrait) -> Result<Vec<OpenRow>> {
    let sum = Expr::col(receivable::Column::OpenCents)
        .sum()
        .cast_as(Alias::new("BIGINT"));
    let select = Query::select()
        .column(receivable::Column::CustomerId)
        .column(receivable::Column::DueOn)
        .expr_as(sum, Alias::new("open_cents"))
        .from(receivable::Entity)
        .and_where(receivable::Column::OpenCents.gt(0))
        .group_by_col(receivable::Column::CustomerId)
        .group_by_col(receivable::Column::DueOn)
        .order_by(receivable::Column::CustomerId, sea_orm::Order::Asc)
        .to_owned();
    let statement = db.get_database_backend().build(&select);
    Ok(OpenRow::find_by_statement(statement).all(db).await?)
}

/// What was open at the end of a day gone by, read from documents and what settled them by then.
pub async fn open_on(db: &impl ConnectionTrait, on: NaiveDate) -> Result<Vec<OpenRow>> {
    let sql = "SELECT customer_id, due_on, CAST(SUM(cents) AS BIGINT) AS open_cents FROM (\
         SELECT customer_id, due_on, total_cents AS cents FROM invoice \
         WHERE kind = 'invoice' AND issued_on <= $1 \
         UNION ALL \
         SELECT i.customer_id, i.due_on, -a.amount_cents FROM allocation a \
         JOIN invoice i ON i.id = a.invoice_id JOIN payment p ON p.id = a.payment_id \
         WHERE p.received_on <= $1 \
         UNION ALL \
         SELECT i.customer_id, i.due_on, -a.amount_cents FROM allocation a \
         JOIN invoice i ON i.id = a.invoice_id JOIN invoice c ON c.id = a.credit_note_id \
         WHERE c.issued_on <= $1) moved \
         GROUP BY customer_id, due_on HAVING SUM(cents) <> 0 ORDER BY customer_id, due_on";
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, [on.into()]);
    Ok(OpenRow::find_by_statement(statement).all(db).await?)
}

/// The last number of rows a list of one customer's open invoices shows.
pub const OPEN_MAX: u64 = 100;

/// A customer's open invoices, oldest due first.
pub async fn open_invoices(
    db: &impl ConnectionTrait,
    customer_id: i64,
) -> Result<Vec<invoice::Model>> {
    Ok(invoices(Some(customer_id), true)
        .order_by_asc(invoice::Column::DueOn)
        .order_by_asc(invoice::Column::Id)
        .limit(OPEN_MAX)
        .all(db)
        .await?)
}
