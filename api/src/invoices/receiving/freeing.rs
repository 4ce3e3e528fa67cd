//! Money and credit taken off an invoice again while they stand themselves: they are credit of whoever paid, and settle
//! something else or are paid back.
//!
//! What must stay true: what is taken off an invoice is open on it again, and left of its source, to the cent and on the
//! same day, and lies with the customers' credit in the books.

use chrono::NaiveDate;
use nameplate_entities::{allocation, invoice, payment};
use nameplate_rules::books::events::{self, Owed};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::base::{Act, Error, ProblemCode, Result, audit};
use crate::invoices::issuing::writing;
use crate::invoices::store::{self, Source};

use super::{credit, reversing, settling};

/// Takes these rows, all of payments and credit notes, off their invoice from this day on.
///
/// # Errors
/// Those of `books::post`.
pub async fn free(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, on): (&'static str, NaiveDate),
    (invoice, laid): (&invoice::Model, &[allocation::Model]),
) -> Result<()> {
    let before = store::receivable_of(tx, invoice.id).await?;
    let mut first = None;
    for row in laid {
        let undoes = settling::take_off(tx, act, (row, on)).await?;
        first = first.or(Some(undoes));
    }
    let Some(first) = first else {
        return Ok(());
    };
    let amount = settling::sum(laid.iter().map(|row| Cents(row.amount_cents)))?;
    let freed = Owed::by(store::debtor(invoice.payer), amount);
    let entry = events::deposit_applied(freed).map(|entry| entry.reversed());
    let memo = format!("Taken off {} again", invoice.number);
    settling::post(tx, act, (settling::subject(first), on, memo), entry).await?;
    let after = store::receivable_of(tx, invoice.id).await?;
    let subject = writing::subject(invoice.id);
    audit::record(tx, act, verb, subject, (before.as_ref(), after.as_ref())).await
}

/// Takes so much of a payment off an invoice that it settles, as of this day: it is credit of whoever paid.
///
/// # Errors
/// `WrongState` without a path for an invoice that was taken back, for a payment that was undone or does not settle so much
/// of it, and at `paymentId` where what a credit note gave back of the invoice was used; those of `books::post`.
pub async fn take_payment_off(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, on): (&'static str, NaiveDate),
    (payment, invoice_id, amount): (&payment::Model, i64, Cents),
) -> Result<()> {
    let invoice = store::get_invoice(tx, "", invoice_id).await?;
    let mut laid = store::laid_with(tx, payment.id).await?;
    laid.retain(|row| row.invoice_id == invoice.id);
    let whole = settling::sum(laid.iter().map(|row| Cents(row.amount_cents)))?;
    let stays = settling::less(whole, amount)?;
    let refused = |message: String| Err(Error::refused(ProblemCode::WrongState, "", message));
    if let Some(day) = payment.reversed_on {
        return refused(format!("{} was undone on {day}.", payment.number));
    }
    if stays.is_negative() {
        return refused(format!(
            "{} settles only {whole} of {}.",
            payment.number, invoice.number
        ));
    }
    let owed = store::receivable_of(tx, invoice.id).await?;
    if owed.is_some_and(|owed| owed.taken_back) {
        return refused(format!(
            "{} was taken back by a credit note; what was paid on it is credit already.",
            invoice.number
        ));
    }
    free(tx, act, (verb, on), (&invoice, &laid)).await?;
    if stays > Cents::ZERO {
        let owed = store::receivable_of(tx, invoice.id).await?;
        let owed = owed.ok_or_else(|| Error::internal("an invoice without its receivable"))?;
        let source = Source {
            left: stays,
            ..Source::of_payment(payment)
        };
        let about = (&[source][..], stays, on);
        credit::lay_and_post(tx, act, (verb, &invoice), (&owed, about)).await?;
    }
    reversing::lay_credits(tx, act, (verb, payment), (invoice.id, on)).await
}

/// What a payment settles of an invoice now.
///
/// # Errors
/// Internal only.
pub async fn laid_on(
    tx: &impl ConnectionTrait,
    (payment_id, invoice_id): (i64, i64),
) -> Result<Cents> {
    let laid = store::laid_with(tx, payment_id).await?;
    let its = laid.iter().filter(|row| row.invoice_id == invoice_id);
    settling::sum(its.map(|row| Cents(row.amount_cents)))
}

/// Takes all that a credit note settles of another invoice off it, as of this day: it is credit of whoever it was given to.
/// Gives the number of the note, and the amount.
///
/// # Errors
/// `NotFound` at `creditNoteId`; `WrongState` there where it settles nothing of the invoice, or was given for it; those of
/// `books::post`.
pub async fn take_credit_off(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, on): (&'static str, NaiveDate),
    (credit_note_id, invoice): (i64, &invoice::Model),
) -> Result<(String, Cents)> {
    let path = "creditNoteId";
    let note = store::get_invoice(tx, path, credit_note_id).await?;
    let mut laid: Vec<allocation::Model> = (store::settled_by(tx, invoice.id).await?.into_iter())
        .map(|(row, _)| row)
        .collect();
    laid.retain(|row| row.credit_note_id == Some(note.id));
    let amount = settling::sum(laid.iter().map(|row| Cents(row.amount_cents)))?;
    let refused = |message: String| Err(Error::refused(ProblemCode::WrongState, path, message));
    if note.credits_invoice_id == Some(invoice.id) {
        return refused(format!(
            "{} was given for {} itself.",
            note.number, invoice.number
        ));
    }
    if amount <= Cents::ZERO {
        return refused(format!(
            "{} settles nothing of {}.",
            note.number, invoice.number
        ));
    }
    free(tx, act, (verb, on), (invoice, &laid)).await?;
    Ok((note.number, amount))
}
