//! A row matched to the wrong claim, whose money waits for the right one.

use nameplate_entities::{advice_row, claim, payer_advice};
use nameplate_rules::claims::ClaimStep;
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};
use serde::Serialize;

use super::super::store;
use super::{at, check_standing, of_row};
use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::claims::{self, Taken, TakenBy};
use crate::{books, invoices, shop};

/// A row whose claim is the wrong one.
#[derive(Clone, Debug, Serialize)]
pub struct UnmatchAdviceRow {
    #[serde(skip)]
    pub idempotency_key: String,
    pub row_id: i64,
    pub reason: String,
}

/// Takes a row off its claim: it waits for its claim again, with its money held back for it. What it laid is open on the
/// claim's invoice again, as of today.
///
/// What was written down on the claim by this row does not hold: the claim stands where it stood before it, or stays where it
/// went since. One that was closed meanwhile stays closed; what is open of it tells that nothing came.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Missing`; `WrongState` for a row without a claim, of an advice dropped or undone or whose
/// payment was undone, or whose invoice was credited; `TooMuch` where what it paid beyond its claim was used otherwise;
/// `PeriodClosed`.
pub async fn unmatch_advice_row(act: &Act, order: UnmatchAdviceRow) -> Result<advice_row::Model> {
    act.staff_with(Right::UnmatchAdviceRow)?;
    let verb = Right::UnmatchAdviceRow.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_row(&tx, "", id).await;
    }
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.finish()?;
    let before = store::get_row(&tx, "rowId", order.row_id).await?;
    let advice = store::get_advice(&tx, "rowId", before.advice_id).await?;
    check_standing("rowId", &advice)?;
    let Some(claim_id) = before.claim_id else {
        return refused(format!("Line {} is about no claim.", before.position));
    };
    let claim = claims::get_claim(&tx, "rowId", claim_id).await?;
    if before.settled_at.is_some() {
        give_back(&tx, act, verb, (&claim, &advice, &before)).await?;
        let words = format!(
            "Advice {}, line {}, is not about it: {reason}",
            advice.reference, before.position
        );
        unsay(&tx, act, verb, (&claim, &before, words)).await?;
    }
    let mut row = before.clone().into_active_model();
    row.claim_id = Set(None);
    row.settled_at = Set(None);
    row.laid_cents = Set(None);
    row.outcome = Set(None);
    let after = row.update(&tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, of_row(after.id), both).await?;
    once.keep(&tx, act, &after.id).await?;
    tx.commit().await?;
    Ok(after)
}

fn refused<T>(message: String) -> Result<T> {
    Err(Error::refused(ProblemCode::WrongState, "rowId", message))
}

/// Takes what a settled row laid off the claim's invoice, and holds all it pays back.
async fn give_back(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    (claim, advice, row): (&claim::Model, &payer_advice::Model, &advice_row::Model),
) -> Result<()> {
    let Some(payment_id) = advice.payment_id else {
        return Ok(());
    };
    let payment = invoices::get_payment(tx, "rowId", payment_id).await?;
    if let Some(day) = payment.reversed_on {
        return refused(format!(
            "{} was undone on {day}; undo the advice, too (undoAdvice).",
            payment.number
        ));
    }
    let laid = Cents(row.laid_cents.unwrap_or(0));
    if laid > Cents::ZERO {
        let on = shop::settings(tx).await?.day_of(act.at);
        books::check_open(tx, "", on).await?;
        let about = (&payment, claim.invoice_id, laid);
        let taken = invoices::take_payment_off(tx, act, (verb, on), about).await;
        at("rowId", taken)?;
    }
    let payment = invoices::get_payment(tx, "rowId", payment_id).await?;
    let free = Cents(payment.unallocated_cents).checked_sub(Cents(payment.held_cents));
    let free = free.unwrap_or(Cents::ZERO);
    if Cents(row.paid_cents) > free {
        let message = format!(
            "Line {} pays {}, and only {free} of {} is left: the rest was paid back or settles something else.",
            row.position,
            Cents(row.paid_cents),
            payment.number
        );
        return Err(Error::refused(ProblemCode::TooMuch, "rowId", message));
    }
    invoices::hold(tx, payment_id, row.paid_cents).await
}

/// What was written down on a claim by a row does not hold. One that is closed or void only keeps the words.
///
/// # Errors
/// Internal only.
pub async fn unsay(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    (claim, row, words): (&claim::Model, &advice_row::Model, String),
) -> Result<()> {
    if claims::to_rule(claim.state).was_sent() && claim.standing_invoice_id.is_some() {
        let laid = row.laid_cents.filter(|laid| *laid > 0);
        let taken = Taken {
            step: ClaimStep::Unsay,
            on: shop::settings(tx).await?.day_of(act.at),
            note: Some(words),
            reason: None,
            cents: laid.map(|laid| Cents(-laid)),
            by: Some(TakenBy::AdviceRow(row.id)),
        };
        claims::take_step(tx, act, (verb, claim), taken).await?;
        return Ok(());
    }
    let subject = Subject {
        kind: "claim",
        id: claim.id,
    };
    audit::record(tx, act, verb, subject, (Some(claim), Some(&words))).await
}
