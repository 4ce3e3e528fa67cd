//! How money and credit are laid against invoices, and taken off again: rows, what is left, what is open.
//!
//! Nothing is posted here; who calls knows which entry the act needs.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::{allocation, credit_left, payment, receivable};
use nameplate_rules::books::events::{Debtor, Owed};
use nameplate_rules::books::{BooksRefusal, Entry};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Expr, ExprTrait};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter,
};

use crate::base::audit::Subject;
use crate::base::{Act, Error, Result};
use crate::books::{self, NewEntry};
use crate::invoices::store::{self, Source};

/// Lays so much of these sources, in this order, against an invoice; gives the first row that was written.
///
/// # Errors
/// Internal, when the sources hold less.
pub async fn lay(
    tx: &impl ConnectionTrait,
    act: &Act,
    owed: &receivable::Model,
    (sources, amount, on): (&[Source], Cents, NaiveDate),
) -> Result<Option<i64>> {
    let mut rest = amount;
    let mut first = None;
    for source in sources {
        let part = rest.min(source.left);
        if part <= Cents::ZERO {
            continue;
        }
        rest = less(rest, part)?;
        let row = allocation::ActiveModel {
            payment_id: Set(source.payment_id),
            credit_note_id: Set(source.credit_note_id),
            invoice_id: Set(owed.invoice_id),
            amount_cents: Set(part.0),
            applied_on: Set(on),
            allocated_at: Set(act.at),
            ..Default::default()
        };
        let row = row.insert(tx).await?;
        first = first.or(Some(row.id));
        take(tx, source, part).await?;
    }
    if rest != Cents::ZERO {
        return Err(Error::internal("credit that is laid is not there"));
    }
    open_more(tx, owed.invoice_id, -amount.0).await?;
    Ok(first)
}

/// Takes a row off again from this day on: its invoice is open by so much more, its source has so much more left. Gives the
/// row that undoes it.
///
/// # Errors
/// Internal only.
pub async fn take_off(
    tx: &impl ConnectionTrait,
    act: &Act,
    (row, on): (&allocation::Model, NaiveDate),
) -> Result<i64> {
    let amount = row
        .amount_cents
        .checked_neg()
        .ok_or_else(|| Error::internal("an allocation that has no negative"))?;
    let undoes = allocation::ActiveModel {
        payment_id: Set(row.payment_id),
        credit_note_id: Set(row.credit_note_id),
        write_off_id: Set(row.write_off_id),
        moved_to_invoice_id: Set(row.moved_to_invoice_id),
        invoice_id: Set(row.invoice_id),
        amount_cents: Set(amount),
        applied_on: Set(on),
        allocated_at: Set(act.at),
        undoes_allocation_id: Set(Some(row.id)),
        ..Default::default()
    };
    let undoes = undoes.insert(tx).await?;
    if let Some(id) = row.payment_id {
        payment_left(tx, id, row.amount_cents).await?;
    }
    if let Some(id) = row.credit_note_id {
        credit_note_left(tx, id, row.amount_cents).await?;
    }
    open_more(tx, row.invoice_id, row.amount_cents).await?;
    Ok(undoes.id)
}

/// Takes so much out of what is left of a source.
///
/// # Errors
/// Internal only.
pub async fn take(tx: &impl ConnectionTrait, source: &Source, amount: Cents) -> Result<()> {
    if let Some(id) = source.payment_id {
        payment_left(tx, id, -amount.0).await?;
    }
    if let Some(id) = source.credit_note_id {
        credit_note_left(tx, id, -amount.0).await?;
    }
    Ok(())
}

async fn credit_note_left(tx: &impl ConnectionTrait, credit_note_id: i64, more: i64) -> Result<()> {
    let left = credit_left::Column::LeftCents;
    credit_left::Entity::update_many()
        .col_expr(left, Expr::col(left).add(more))
        .filter(credit_left::Column::CreditNoteId.eq(credit_note_id))
        .exec(tx)
        .await?;
    Ok(())
}

async fn payment_left(tx: &impl ConnectionTrait, payment_id: i64, more: i64) -> Result<()> {
    let left = payment::Column::UnallocatedCents;
    payment::Entity::update_many()
        .col_expr(left, Expr::col(left).add(more))
        .filter(payment::Column::Id.eq(payment_id))
        .exec(tx)
        .await?;
    Ok(())
}

/// Holds so much more of a payment's credit back, or less where it is below zero: what is held is neither laid by itself
/// nor paid back.
///
/// # Errors
/// Internal only.
pub async fn hold(tx: &impl ConnectionTrait, payment_id: i64, more: i64) -> Result<()> {
    let held = payment::Column::HeldCents;
    payment::Entity::update_many()
        .col_expr(held, Expr::col(held).add(more))
        .filter(payment::Column::Id.eq(payment_id))
        .exec(tx)
        .await?;
    Ok(())
}

/// Raises, or lowers, what is open on an invoice.
///
/// # Errors
/// Internal only.
pub async fn open_more(tx: &impl ConnectionTrait, invoice_id: i64, more: i64) -> Result<()> {
    let open = receivable::Column::OpenCents;
    receivable::Entity::update_many()
        .col_expr(open, Expr::col(open).add(more))
        .filter(receivable::Column::InvoiceId.eq(invoice_id))
        .exec(tx)
        .await?;
    Ok(())
}

/// The document of an entry about credit that was laid against an invoice: the first row of it.
pub fn subject(allocation_id: i64) -> Subject {
    Subject {
        kind: "allocation",
        id: allocation_id,
    }
}

type Made = std::result::Result<Entry, BooksRefusal>;

/// Posts what an act of this folder made.
///
/// # Errors
/// Those of `books::post`.
pub async fn post(
    tx: &impl ConnectionTrait,
    act: &Act,
    (document, on, memo): (Subject, NaiveDate, String),
    entry: Made,
) -> Result<()> {
    let entry = NewEntry {
        on,
        memo,
        document: Some(document),
        entry: entry.map_err(|refusal| Error::caused("entry of a receivable", refusal))?,
    };
    books::post(tx, act, entry).await?;
    Ok(())
}

/// One amount less another.
///
/// # Errors
/// Internal, for a difference that does not fit.
pub fn less(amount: Cents, other: Cents) -> Result<Cents> {
    amount
        .checked_sub(other)
        .ok_or_else(|| Error::internal("an amount is too large"))
}

/// The sum of amounts.
///
/// # Errors
/// Internal, for a sum that does not fit.
pub fn sum(amounts: impl IntoIterator<Item = Cents>) -> Result<Cents> {
    Cents::sum(amounts).map_err(|refusal| Error::caused("sum of a receivable", refusal))
}

/// What amounts on invoices come to by who owes these; each names its invoice.
///
/// # Errors
/// Internal only.
pub async fn by_debtor(
    tx: &impl ConnectionTrait,
    amounts: impl IntoIterator<Item = (i64, Cents)>,
) -> Result<Owed> {
    let amounts: Vec<(i64, Cents)> = amounts.into_iter().collect();
    let debtors = store::debtors(tx, amounts.iter().map(|(id, _)| *id)).await?;
    let mut sum = Owed::default();
    for (id, amount) in amounts {
        sum = plus(sum, (debtor_of(&debtors, id)?, amount))?;
    }
    Ok(sum)
}

/// Who owes one of these invoices.
///
/// # Errors
/// Internal, for one that is not among them.
pub fn debtor_of(debtors: &HashMap<i64, Debtor>, invoice_id: i64) -> Result<Debtor> {
    let debtor = debtors.get(&invoice_id).copied();
    debtor.ok_or_else(|| Error::internal("an invoice that nobody owes"))
}

/// A sum with another amount that one owes.
///
/// # Errors
/// Internal, for a sum that does not fit.
pub fn plus(sum: Owed, (debtor, amount): (Debtor, Cents)) -> Result<Owed> {
    sum.plus(Owed::by(debtor, amount))
        .map_err(|refusal| Error::caused("sum of a receivable", refusal))
}
