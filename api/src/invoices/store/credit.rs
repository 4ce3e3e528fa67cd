//! Customers' credit: what is left of payments and credit notes, and what became of it.

use chrono::NaiveDate;
use nameplate_entities::{
    allocation, credit_left, invoice, journal_entry, payment, refund, refund_part, service_address,
    tax_jurisdiction,
};
use nameplate_rules::books::events::Owed;
use nameplate_rules::money::Cents;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder, Statement,
};

use crate::base::{Error, Result};

/// A payment or credit note of which something is left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Source {
    pub payment_id: Option<i64>,
    pub credit_note_id: Option<i64>,
    /// The day the credit arose.
    pub on: NaiveDate,
    pub left: Cents,
    /// The call it is a deposit for.
    pub deposit_call_id: Option<i64>,
}

impl Source {
    /// What is left of a payment and waits for nothing.
    pub fn of_payment(row: &payment::Model) -> Self {
        Self {
            payment_id: Some(row.id),
            credit_note_id: None,
            on: row.received_on,
            left: Cents(row.unallocated_cents.saturating_sub(row.held_cents)),
            deposit_call_id: row.deposit_call_id,
        }
    }

    fn of_credit(row: &credit_left::Model) -> Self {
        Self {
            payment_id: None,
            credit_note_id: Some(row.credit_note_id),
            on: row.arose_on,
            left: Cents(row.left_cents),
            deposit_call_id: None,
        }
    }
}

/// A customer's credit, oldest first.
pub async fn sources(db: &impl ConnectionTrait, customer_id: i64) -> Result<Vec<Source>> {
    let payments = payment::Entity::find()
        .filter(payment::Column::CustomerId.eq(customer_id))
        .filter(payment::Column::UnallocatedCents.gt(0))
        .order_by_asc(payment::Column::Id)
        .all(db)
        .await?;
    let credits = credit_left::Entity::find()
        .filter(credit_left::Column::CustomerId.eq(customer_id))
        .filter(credit_left::Column::LeftCents.gt(0))
        .order_by_asc(credit_left::Column::CreditNoteId)
        .all(db)
        .await?;
    let mut all: Vec<Source> = payments.iter().map(Source::of_payment).collect();
    all.extend(credits.iter().map(Source::of_credit));
    all.retain(|source| source.left > Cents::ZERO);
    all.sort_by_key(|source| source.on);
    Ok(all)
}

/// What is left of these credit notes, oldest first.
pub async fn sources_of_credits(
    db: &impl ConnectionTrait,
    credit_note_ids: &[i64],
) -> Result<Vec<Source>> {
    let rows = credit_left::Entity::find()
        .filter(credit_left::Column::CreditNoteId.is_in(credit_note_ids.iter().copied()))
        .order_by_asc(credit_left::Column::CreditNoteId)
        .all(db)
        .await?;
    Ok(rows.iter().map(Source::of_credit).collect())
}

/// What a payment settles now, without what was undone, oldest first.
pub async fn laid_with(
    db: &impl ConnectionTrait,
    payment_id: i64,
) -> Result<Vec<allocation::Model>> {
    let rows = allocation::Entity::find()
        .filter(allocation::Column::PaymentId.eq(payment_id))
        .order_by_asc(allocation::Column::Id)
        .all(db)
        .await?;
    Ok(not_undone(rows))
}

/// The last day on which something that a payment settled was taken off again.
pub async fn taken_off_on(db: &impl ConnectionTrait, payment_id: i64) -> Result<Option<NaiveDate>> {
    let last = allocation::Entity::find()
        .filter(allocation::Column::PaymentId.eq(payment_id))
        .filter(allocation::Column::UndoesAllocationId.is_not_null())
        .order_by_desc(allocation::Column::AppliedOn)
        .one(db)
        .await?;
    Ok(last.map(|row| row.applied_on))
}

/// Of what was laid, those rows that no other one undoes.
pub fn not_undone(rows: Vec<allocation::Model>) -> Vec<allocation::Model> {
    let undone: Vec<i64> = rows
        .iter()
        .filter_map(|row| row.undoes_allocation_id)
        .collect();
    rows.into_iter()
        .filter(|row| row.undoes_allocation_id.is_none() && !undone.contains(&row.id))
        .collect()
}

/// The refunds that were paid out of a payment, those included that were undone, and how much of it each took.
pub async fn refunds_of(
    db: &impl ConnectionTrait,
    payment_id: i64,
) -> Result<Vec<(refund::Model, Cents)>> {
    let parts = refund_part::Entity::find()
        .filter(refund_part::Column::PaymentId.eq(payment_id))
        .all(db)
        .await?;
    let ids = parts.iter().map(|part| part.refund_id);
    let refunds = refund::Entity::find()
        .filter(refund::Column::Id.is_in(ids))
        .order_by_asc(refund::Column::Id)
        .all(db)
        .await?;
    let taken = |id: i64| parts.iter().filter(move |part| part.refund_id == id);
    refunds
        .into_iter()
        .map(|row| {
            let amounts = taken(row.id).map(|part| Cents(part.amount_cents));
            let sum = Cents::sum(amounts).map_err(|refusal| Error::caused("refunds", refusal))?;
            Ok((row, sum))
        })
        .collect()
}

/// The invoice that asks again for what was refunded out of a payment that came back.
///
/// # Errors
/// Internal only.
pub async fn claim_on(
    db: &impl ConnectionTrait,
    payment_id: i64,
) -> Result<Option<invoice::Model>> {
    Ok(invoice::Entity::find()
        .filter(invoice::Column::ReturnedPaymentId.eq(payment_id))
        .one(db)
        .await?)
}

/// How much was refunded out of these credit notes.
pub async fn refunded_of(db: &impl ConnectionTrait, credit_note_ids: &[i64]) -> Result<Vec<Cents>> {
    let parts = refund_part::Entity::find()
        .filter(refund_part::Column::CreditNoteId.is_in(credit_note_ids.iter().copied()))
        .all(db)
        .await?;
    Ok(parts.iter().map(|part| Cents(part.amount_cents)).collect())
}

/// The first service address of a customer.
pub async fn first_address(
    db: &impl ConnectionTrait,
    customer_id: i64,
) -> Result<Option<service_address::Model>> {
    Ok(service_address::Entity::find()
        .filter(service_address::Column::CustomerId.eq(customer_id))
        .order_by_asc(service_address::Column::Id)
        .one(db)
        .await?)
}

/// The first place of taxes there is.
pub async fn any_jurisdiction(db: &impl ConnectionTrait) -> Result<Option<i64>> {
    let first = tax_jurisdiction::Entity::find()
        .order_by_asc(tax_jurisdiction::Column::Id)
        .one(db)
        .await?;
    Ok(first.map(|row| row.id))
}

#[derive(FromQueryResult)]
struct Named {
    number: String,
}

/// Numbers of the other invoices that the credit of an invoice's credit notes settles.
///
/// # Errors
/// Internal only.
pub async fn named_users(db: &impl ConnectionTrait, invoice_id: i64) -> Result<Vec<String>> {
    let sql = "SELECT i.number AS number FROM invoice c JOIN allocation a ON a.credit_note_id = c.id \
         JOIN invoice i ON i.id = a.invoice_id \
         WHERE c.credits_invoice_id = $1 AND a.invoice_id <> $1 \
         GROUP BY i.number HAVING SUM(a.amount_cents) > 0 ORDER BY number";
    let statement =
        Statement::from_sql_and_values(db.get_database_backend(), sql, [invoice_id.into()]);
    let rows = Named::find_by_statement(statement).all(db).await;
    let rows = rows.map_err(Error::from)?;
    Ok(rows.into_iter().map(|row| row.number).collect())
}

/// The refund, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_refund(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<refund::Model> {
    refund::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "refund"))
}

/// The parts of a refund, oldest first.
///
/// # Errors
/// Internal only.
pub async fn parts_of_refund(
    db: &impl ConnectionTrait,
    refund_id: i64,
) -> Result<Vec<refund_part::Model>> {
    Ok(refund_part::Entity::find()
        .filter(refund_part::Column::RefundId.eq(refund_id))
        .order_by_asc(refund_part::Column::Id)
        .all(db)
        .await?)
}

/// The last day on which a refund of this customer was undone.
///
/// # Errors
/// Internal only.
pub async fn refund_undone_on(
    db: &impl ConnectionTrait,
    customer_id: i64,
) -> Result<Option<NaiveDate>> {
    let last = refund::Entity::find()
        .filter(refund::Column::CustomerId.eq(customer_id))
        .filter(refund::Column::ReversedOn.is_not_null())
        .order_by_desc(refund::Column::ReversedOn)
        .one(db)
        .await?;
    Ok(last.and_then(|row| row.reversed_on))
}

#[derive(FromQueryResult)]
struct Sum {
    cents: i64,
}

/// Deposits taken for a call that were not undone.
///
/// # Errors
/// Internal only.
pub async fn deposits_for(db: &impl ConnectionTrait, call_id: i64) -> Result<i64> {
    let sql = "SELECT CAST(COALESCE(SUM(amount_cents), 0) AS BIGINT) AS cents FROM payment \
         WHERE deposit_call_id = $1 AND reversed_on IS NULL";
    let statement =
        Statement::from_sql_and_values(db.get_database_backend(), sql, [call_id.into()]);
    let row = Sum::find_by_statement(statement).one(db).await?;
    Ok(row.map_or(0, |row| row.cents))
}

/// A deposit for the call of which something is left, from somebody who is none of these customers.
///
/// # Errors
/// Internal only.
pub async fn deposit_of_another(
    db: &impl ConnectionTrait,
    call_id: i64,
    customer_ids: &[i64],
) -> Result<Option<payment::Model>> {
    Ok(payment::Entity::find()
        .filter(payment::Column::DepositCallId.eq(call_id))
        .filter(payment::Column::UnallocatedCents.gt(0))
        .filter(payment::Column::CustomerId.is_not_in(customer_ids.iter().copied()))
        .order_by_asc(payment::Column::Id)
        .one(db)
        .await?)
}

/// The entry of a document that is not itself a reversal.
///
/// # Errors
/// Internal, when the document has none.
pub async fn entry_of(
    db: &impl ConnectionTrait,
    kind: &'static str,
    id: i64,
) -> Result<journal_entry::Model> {
    journal_entry::Entity::find()
        .filter(journal_entry::Column::DocumentKind.eq(kind))
        .filter(journal_entry::Column::DocumentId.eq(id))
        .filter(journal_entry::Column::ReversesEntryId.is_null())
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a document without its entry"))
}

#[derive(FromQueryResult)]
struct AtOnce {
    customer_cents: i64,
    payer_cents: i64,
}

/// The entry of a payment, and how much of it settled invoices at once, by who owed them.
///
/// # Errors
/// Internal, when the payment has none.
pub async fn entry_of_payment(
    db: &impl ConnectionTrait,
    payment_id: i64,
) -> Result<(journal_entry::Model, Owed)> {
    let entry = entry_of(db, "payment", payment_id).await?;
    let sql = "SELECT CAST(COALESCE(SUM(CASE WHEN a.role = 'receivable' THEN p.credit_cents ELSE 0 END), 0) AS BIGINT) \
         AS customer_cents, CAST(COALESCE(SUM(CASE WHEN a.role = 'claims_receivable' THEN p.credit_cents ELSE 0 END), 0) \
         AS BIGINT) AS payer_cents FROM posting p JOIN account a ON a.id = p.account_id WHERE p.entry_id = $1";
    let statement =
        Statement::from_sql_and_values(db.get_database_backend(), sql, [entry.id.into()]);
    let row = AtOnce::find_by_statement(statement).one(db).await?;
    let settled = row.map_or_else(Owed::default, |row| Owed {
        customer: Cents(row.customer_cents),
        payer: Cents(row.payer_cents),
    });
    Ok((entry, settled))
}
