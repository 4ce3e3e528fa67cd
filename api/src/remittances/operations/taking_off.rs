//! Money or credit that settles the wrong invoice, taken off it again: it is credit of whoever it is, as before it was laid.

use nameplate_entities::{claim, invoice};
use nameplate_rules::claims::{ClaimState, ClaimStep};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use super::super::store;
use super::at;
use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::claims::{self, Taken, TakenBy};
use crate::{books, invoices, shop};

/// What settles an invoice that it is not meant for: all that one payment or one credit note settles of it.
#[derive(Clone, Debug, Serialize)]
pub struct TakeOffInvoice {
    #[serde(skip)]
    pub idempotency_key: String,
    pub invoice_id: i64,
    pub payment_id: Option<i64>,
    pub credit_note_id: Option<i64>,
    pub reason: String,
}

/// Takes what a payment or a credit note settles of an invoice off it, as of today. The payment stands, and what it settled
/// is left of it; a claim that asks for the invoice stands where it stood before.
///
/// # Errors
/// `Forbidden`; `NotFound` for invoice, payment or credit note; `Missing` where neither is named, and at `reason`; `Malformed`
/// where both are; `WrongState` where it settles nothing of the invoice, for a payment that was undone or is of an advice
/// whose row is about the claim, for an invoice that was taken back, and for a credit note of the very invoice; `PeriodClosed`.
pub async fn take_off_invoice(act: &Act, order: TakeOffInvoice) -> Result<invoice::Model> {
    act.staff_with(Right::TakeOffInvoice)?;
    let verb = Right::TakeOffInvoice.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return invoices::get_invoice(&tx, "", id).await;
    }
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    if order.payment_id.is_none() && order.credit_note_id.is_none() {
        let message = "Say which payment or which credit note.";
        checks.refuse(ProblemCode::Missing, "paymentId", message);
    }
    if order.payment_id.is_some() && order.credit_note_id.is_some() {
        let message = "Name a payment or a credit note, one at a time.";
        checks.refuse(ProblemCode::Malformed, "creditNoteId", message);
    }
    checks.finish()?;
    let invoice = invoices::get_invoice(&tx, "invoiceId", order.invoice_id).await?;
    let on = shop::settings(&tx).await?.day_of(act.at);
    books::check_open(&tx, "", on).await?;
    let (by, words, amount) = match (order.payment_id, order.credit_note_id) {
        (Some(id), _) => {
            let payment = invoices::get_payment(&tx, "paymentId", id).await?;
            check_no_row(&tx, (id, &invoice)).await?;
            let whole = invoices::laid_on(&tx, (id, invoice.id)).await?;
            check_settles(whole, (&payment.number, &invoice))?;
            let taken =
                invoices::take_payment_off(&tx, act, (verb, on), (&payment, invoice.id, whole));
            at("paymentId", taken.await)?;
            (Some(TakenBy::Payment(id)), payment.number, whole)
        }
        (None, note) => {
            let id = note.ok_or_else(|| Error::internal("nothing to take off an invoice"))?;
            let about = (id, &invoice);
            let (number, amount) = invoices::take_credit_off(&tx, act, (verb, on), about).await?;
            (None, number, amount)
        }
    };
    let words = format!("{words} was not for it: {reason}");
    for claim in store::claims_of_invoices(&tx, &[invoice.id]).await? {
        let taken = Taken {
            step: by.map_or(ClaimStep::Pay, |_| ClaimStep::Unsay),
            on,
            note: Some(words.clone()),
            reason: None,
            cents: Some(Cents(-amount.0)),
            by,
        };
        goes_back(&tx, act, (verb, &claim), taken).await?;
    }
    let subject = Subject {
        kind: "invoice",
        id: invoice.id,
    };
    audit::record(&tx, act, verb, subject, (Some(&invoice), Some(&words))).await?;
    once.keep(&tx, act, &invoice.id).await?;
    tx.commit().await?;
    Ok(invoice)
}

/// What was written down on a claim by that money does not hold. Credit names no steps, so a claim that it paid stays paid,
/// with nothing paid, and takes whatever its payer says; one that went on since stays where it is.
async fn goes_back(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, claim): (&'static str, &claim::Model),
    taken: Taken,
) -> Result<()> {
    let state = claims::to_rule(claim.state);
    let is_said = match taken.step {
        ClaimStep::Unsay => state.was_sent(),
        _ => state == ClaimState::Paid,
    };
    if is_said {
        claims::take_step(tx, act, (verb, claim), taken).await?;
    }
    Ok(())
}

fn check_settles(whole: Cents, (number, invoice): (&str, &invoice::Model)) -> Result<()> {
    if whole > Cents::ZERO {
        return Ok(());
    }
    let message = format!("{number} settles nothing of {}.", invoice.number);
    Err(Error::refused(
        ProblemCode::WrongState,
        "paymentId",
        message,
    ))
}

/// A row of an advice is taken off its claim by an act of its own, so that its money waits for the right one.
async fn check_no_row(
    tx: &impl ConnectionTrait,
    (payment_id, invoice): (i64, &invoice::Model),
) -> Result<()> {
    let Some(position) = store::row_laid(tx, (payment_id, invoice.id)).await? else {
        return Ok(());
    };
    let message = format!(
        "Line {position} of an advice paid {} by it; take the line off its claim (unmatchAdviceRow).",
        invoice.number
    );
    Err(Error::refused(
        ProblemCode::WrongState,
        "paymentId",
        message,
    ))
}
