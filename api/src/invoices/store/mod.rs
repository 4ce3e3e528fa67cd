//! Rows of invoices, payments and what is open.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::kinds::ReceivableKind;
use nameplate_entities::{
    appliance, appliance_type, customer, estimate_option, estimate_revision, invoice, invoice_line,
    invoice_tax, payment, receivable, service_address, service_call, tax_level,
};
use sea_orm::sea_query::Query;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder, Statement,
    Value,
};

use crate::base::{Error, Result};

pub use credit::{
    Source, deposits_for, entry_of, entry_of_payment, get_refund, laid_with, named_users,
    refunds_of, sources, sources_of_credits,
};
pub use late::{invoices_by_id, overdue, to_remind};
pub use open::{
    OpenRow, Owed, invoices, open_invoices, open_now, open_of, open_on, owed_by, payments,
    receivable_of, receivables, refunds, settled_by, settled_with,
};
pub use statement::{balance_before, moves_between};
pub use writing_off::{standing_write_offs, taxes_left};

mod credit;
mod late;
mod open;
mod statement;
mod writing_off;

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

/// The payment, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_payment(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<payment::Model> {
    payment::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "payment"))
}

/// The credit notes of an invoice, oldest first.
pub async fn credits_of(db: &impl ConnectionTrait, invoice_id: i64) -> Result<Vec<invoice::Model>> {
    Ok(invoice::Entity::find()
        .filter(invoice::Column::CreditsInvoiceId.eq(invoice_id))
        .order_by_asc(invoice::Column::Id)
        .all(db)
        .await?)
}

/// Invoices that credit notes give back in whole.
fn taken_back() -> sea_orm::sea_query::SelectStatement {
    Query::select()
        .column(receivable::Column::InvoiceId)
        .from(receivable::Entity)
        .and_where(receivable::Column::TakenBack.eq(true))
        .to_owned()
}

/// Whether an invoice of a call stands, not taken back in whole.
pub async fn is_billed(db: &impl ConnectionTrait, call_id: i64) -> Result<bool> {
    let standing = invoice::Entity::find()
        .filter(invoice::Column::CallId.eq(call_id))
        .filter(invoice::Column::Kind.eq(ReceivableKind::Invoice))
        .filter(invoice::Column::EstimateRevisionId.is_not_null())
        .filter(invoice::Column::Id.not_in_subquery(taken_back()))
        .one(db)
        .await?;
    Ok(standing.is_some())
}

/// An invoice of this revision that credit notes do not take back in whole.
pub async fn standing_invoice(
    db: &impl ConnectionTrait,
    revision_id: i64,
) -> Result<Option<invoice::Model>> {
    Ok(invoice::Entity::find()
        .filter(invoice::Column::EstimateRevisionId.eq(revision_id))
        .filter(invoice::Column::Kind.eq(ReceivableKind::Invoice))
        .filter(invoice::Column::Id.not_in_subquery(taken_back()))
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
         AND NOT EXISTS (SELECT 1 FROM receivable t WHERE t.invoice_id = i.id AND t.taken_back) \
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

/// The days on which these invoices were issued.
pub async fn issued_on(
    db: &impl ConnectionTrait,
    invoice_ids: impl IntoIterator<Item = i64>,
) -> Result<HashMap<i64, NaiveDate>> {
    let select = Query::select()
        .columns([invoice::Column::Id, invoice::Column::IssuedOn])
        .from(invoice::Entity)
        .and_where(invoice::Column::Id.is_in(invoice_ids))
        .to_owned();
    let statement = db.get_database_backend().build(&select);
    let rows = Issued::find_by_statement(statement).all(db).await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.id, row.issued_on))
        .collect())
}

#[derive(FromQueryResult)]
struct Issued {
    id: i64,
    issued_on: NaiveDate,
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

/// Lines of the credit notes of an invoice.
pub async fn credited_lines(
    db: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<Vec<invoice_line::Model>> {
    let credits = Query::select()
        .column(invoice::Column::Id)
        .from(invoice::Entity)
        .and_where(invoice::Column::CreditsInvoiceId.eq(invoice_id))
        .to_owned();
    Ok(invoice_line::Entity::find()
        .filter(invoice_line::Column::InvoiceId.in_subquery(credits))
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
