//! What is open, what settled it, and the lists of documents and payments.

use chrono::NaiveDate;
use nameplate_entities::kinds::Payer;
use nameplate_entities::{allocation, invoice, payment, receivable, refund};
use nameplate_rules::books::events::Debtor;
use nameplate_rules::money::Cents;
use sea_orm::sea_query::Query;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect, Select, Statement,
};

use crate::base::{Error, Result};

/// What a customer owes, oldest due first, without what is claimed of it as a warranty payer.
pub async fn open_of(
    db: &impl ConnectionTrait,
    customer_id: i64,
) -> Result<Vec<receivable::Model>> {
    Ok(receivable::Entity::find()
        .filter(receivable::Column::CustomerId.eq(customer_id))
        .filter(receivable::Column::OpenCents.gt(0))
        .filter(super::claims::is_of_customer())
        .order_by_asc(receivable::Column::DueOn)
        .order_by_asc(receivable::Column::InvoiceId)
        .all(db)
        .await?)
}

/// The number of an open invoice that this customer owes as a warranty payer, the first one due.
pub async fn claimed_of(db: &impl ConnectionTrait, customer_id: i64) -> Result<Option<String>> {
    let wanted = InvoicesWanted {
        customer_id: Some(customer_id),
        open_only: true,
        overdue_on: None,
    };
    let first = invoices(wanted)
        .filter(invoice::Column::Payer.eq(Payer::WarrantyPayer))
        .order_by_asc(invoice::Column::DueOn)
        .order_by_asc(invoice::Column::Id)
        .one(db)
        .await?;
    Ok(first.map(|row| row.number))
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

/// What payments and credit were laid against an invoice when it was issued, whatever became of them since.
pub async fn laid_at_issue(db: &impl ConnectionTrait, row: &invoice::Model) -> Result<Cents> {
    let rows = allocation::Entity::find()
        .filter(allocation::Column::InvoiceId.eq(row.id))
        .filter(allocation::Column::AllocatedAt.lte(row.issued_at))
        .filter(allocation::Column::UndoesAllocationId.is_null())
        .all(db)
        .await?;
    Cents::sum(rows.iter().map(|part| Cents(part.amount_cents)))
        .map_err(|refusal| Error::caused("what was laid at issue", refusal))
}

/// What settles an invoice and was not undone, oldest first, with the payment where it is one.
pub async fn settled_by(
    db: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<Vec<(allocation::Model, Option<payment::Model>)>> {
    let undone = Query::select()
        .column(allocation::Column::UndoesAllocationId)
        .from(allocation::Entity)
        .and_where(allocation::Column::InvoiceId.eq(invoice_id))
        .and_where(allocation::Column::UndoesAllocationId.is_not_null())
        .to_owned();
    let rows = allocation::Entity::find()
        .filter(allocation::Column::InvoiceId.eq(invoice_id))
        .filter(allocation::Column::UndoesAllocationId.is_null())
        .filter(allocation::Column::Id.not_in_subquery(undone))
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

/// Which invoices and credit notes are wanted: those that fit everything given.
#[derive(Clone, Copy, Debug, Default)]
pub struct InvoicesWanted {
    pub customer_id: Option<i64>,
    /// Only those with something open.
    pub open_only: bool,
    /// Only those with something open that were due before this day.
    pub overdue_on: Option<NaiveDate>,
}

/// Invoices and credit notes, narrowed.
pub fn invoices(wanted: InvoicesWanted) -> Select<invoice::Entity> {
    let mut select = invoice::Entity::find();
    if let Some(id) = wanted.customer_id {
        select = select.filter(invoice::Column::CustomerId.eq(id));
    }
    if wanted.open_only || wanted.overdue_on.is_some() {
        let mut open = Query::select();
        open.column(receivable::Column::InvoiceId)
            .from(receivable::Entity)
            .and_where(receivable::Column::OpenCents.gt(0));
        if let Some(day) = wanted.overdue_on {
            open.and_where(receivable::Column::DueOn.lt(day));
        }
        select = select.filter(invoice::Column::Id.in_subquery(open));
    }
    select
}

/// Which payments are wanted: those that fit everything given.
#[derive(Clone, Copy, Debug, Default)]
pub struct PaymentsWanted {
    pub customer_id: Option<i64>,
    /// Only those of which something settles no invoice.
    pub unallocated_only: bool,
}

/// Payments, narrowed.
pub fn payments(wanted: PaymentsWanted) -> Select<payment::Entity> {
    let mut select = payment::Entity::find();
    if let Some(id) = wanted.customer_id {
        select = select.filter(payment::Column::CustomerId.eq(id));
    }
    if wanted.unallocated_only {
        select = select.filter(payment::Column::UnallocatedCents.gt(0));
    }
    select
}

/// Refunds, narrowed to a customer's.
pub fn refunds(customer_id: Option<i64>) -> Select<refund::Entity> {
    let select = refund::Entity::find();
    match customer_id {
        Some(id) => select.filter(refund::Column::CustomerId.eq(id)),
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
         WHERE customer_id = $1 AND unallocated_cents > 0",
    )
    .await?;
    let credited = sum(
        "SELECT CAST(COALESCE(SUM(left_cents), 0) AS BIGINT) AS cents FROM credit_left \
         WHERE customer_id = $1 AND left_cents > 0",
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

/// What is open now on invoices that customers owe, or warranty payers, by customer record and due date.
pub async fn open_now(db: &impl ConnectionTrait, owed_by: Debtor) -> Result<Vec<OpenRow>> {
    let sql = "SELECT r.customer_id, r.due_on, CAST(SUM(r.open_cents) AS BIGINT) AS open_cents FROM receivable r \
         JOIN invoice i ON i.id = r.invoice_id WHERE r.open_cents > 0 AND (i.payer = 'warranty_payer') = $1 \
         GROUP BY r.customer_id, r.due_on ORDER BY r.customer_id, r.due_on";
    let is_payer = owed_by == Debtor::WarrantyPayer;
    let backend = db.get_database_backend();
    let statement = Statement::from_sql_and_values(backend, sql, [is_payer.into()]);
    Ok(OpenRow::find_by_statement(statement).all(db).await?)
}

/// What was open at the end of a day gone by, read from documents and what settled them by then.
pub async fn open_on(
    db: &impl ConnectionTrait,
    (owed_by, on): (Debtor, NaiveDate),
) -> Result<Vec<OpenRow>> {
    let sql = "SELECT customer_id, due_on, CAST(SUM(cents) AS BIGINT) AS open_cents FROM (\
         SELECT customer_id, due_on, total_cents AS cents FROM invoice \
         WHERE kind = 'invoice' AND issued_on <= $1 AND (payer = 'warranty_payer') = $2 \
         UNION ALL \
         SELECT i.customer_id, i.due_on, -a.amount_cents FROM allocation a JOIN invoice i ON i.id = a.invoice_id \
         WHERE a.applied_on <= $1 AND (i.payer = 'warranty_payer') = $2) moved \
         GROUP BY customer_id, due_on HAVING SUM(cents) <> 0 ORDER BY customer_id, due_on";
    let values = [on.into(), (owed_by == Debtor::WarrantyPayer).into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    Ok(OpenRow::find_by_statement(statement).all(db).await?)
}

/// The last number of rows a list of one customer's open invoices shows.
pub const OPEN_MAX: u64 = 100;

/// A customer's open invoices, oldest due first.
pub async fn open_invoices(
    db: &impl ConnectionTrait,
    customer_id: i64,
) -> Result<Vec<invoice::Model>> {
    let wanted = InvoicesWanted {
        customer_id: Some(customer_id),
        open_only: true,
        overdue_on: None,
    };
    Ok(invoices(wanted)
        .order_by_asc(invoice::Column::DueOn)
        .order_by_asc(invoice::Column::Id)
        .limit(OPEN_MAX)
        .all(db)
        .await?)
}

/// These invoices with what is open on each; credit notes are left out.
pub async fn with_open(
    db: &impl ConnectionTrait,
    invoices: Vec<invoice::Model>,
) -> Result<Vec<(invoice::Model, receivable::Model)>> {
    let owed = receivable::Entity::find()
        .filter(receivable::Column::InvoiceId.is_in(invoices.iter().map(|row| row.id)))
        .all(db)
        .await?;
    Ok(invoices
        .into_iter()
        .filter_map(|row| {
            let open = owed.iter().find(|owed| owed.invoice_id == row.id)?;
            Some((row, open.clone()))
        })
        .collect())
}
