//! Rows of invoices, payments and what is open.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::{
    appliance, appliance_type, customer, invoice, invoice_line, invoice_tax, payment,
    service_address, service_call, tax_level,
};
use sea_orm::sea_query::Query;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
};

use crate::base::{Error, Result};

pub use calls::{
    billed_by, found_on, has_standing_invoice, is_billed, issued_with, last_under, rebilled_by,
    standing_invoice, stands,
};
pub use claims::{debtor, debtors, is_of_customer, standing_moves, with_moved};
pub use credit::{
    Source, any_jurisdiction, claim_on, deposit_of_another, deposits_for, entry_of,
    entry_of_payment, first_address, get_refund, laid_with, named_users, parts_of_refund,
    refund_undone_on, refunded_of, refunds_of, sources, sources_of_credits, taken_off_on,
};
pub use late::{invoices_by_id, overdue, to_remind};
pub use made_under::{Span, priced_by, priced_from, went_out_at};
pub use open::{
    InvoicesWanted, OpenRow, Owed, PaymentsWanted, claimed_of, invoices, laid_at_issue,
    open_invoices, open_now, open_of, open_on, owed_by, payments, receivable_of, receivables,
    refunds, settled_by, settled_with, with_open,
};
pub use statement::{balance_before, moves_between};
pub use trips::{PaidTrip, Trip, trips_accepted_with, trips_billed_with, trips_of};
pub use writing_off::{
    Left, laid_by_write_off, left_of_write_off, open_since, standing_write_offs, taxes_left,
    written_off_of,
};

mod calls;
mod claims;
mod credit;
mod late;
mod made_under;
mod open;
mod statement;
mod trips;
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
