//! Rows matched by hand or set aside, and advices dropped before they are posted.

use nameplate_entities::{advice_row, claim, payer_advice, payment};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};
use serde::Serialize;

use super::super::store;
use super::settling::Plan;
use super::{check_not_posted, check_standing, of_row, subject};
use crate::base::audit;
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::invoices::{self, ComesIn, PaymentPart};
use crate::{books, claims, shop};

/// A row and the claim it is about.
#[derive(Clone, Debug, Serialize)]
pub struct MatchAdviceRow {
    #[serde(skip)]
    pub idempotency_key: String,
    pub row_id: i64,
    pub claim_id: i64,
}

/// Says which claim a row is about. Of an advice that is posted the row's money, so far the payer's credit, is laid against
/// the claim's invoice as of today, and the claim moves on; before that, the row waits for its advice to be posted.
///
/// # Errors
/// `Forbidden`; `NotFound` for row or claim, also one of another payer; `WrongState` for a row that is settled, of an
/// advice dropped or undone or whose payment was undone, or a claim that was not submitted or is closed; `TooMuch` where
/// the payer's credit out of the payment was used otherwise; `PeriodClosed`.
pub async fn match_advice_row(act: &Act, order: MatchAdviceRow) -> Result<advice_row::Model> {
    let staff_id = act.staff_with(Right::MatchAdviceRow)?;
    let verb = Right::MatchAdviceRow.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_row(&tx, "", id).await;
    }
    let (before, advice) = waiting(&tx, order.row_id).await?;
    let claim = claims::get_claim(&tx, "claimId", order.claim_id).await?;
    check_fits(&claim, &advice)?;
    let mut row = before.clone().into_active_model();
    row.claim_id = Set(Some(claim.id));
    row.set_aside_because = Set(None);
    let mut after = row.update(&tx).await?;
    let_go(&tx, (&advice, &before)).await?;
    if advice.posted_at.is_some() {
        after = settle(&tx, act, (verb, staff_id), (&advice, after)).await?;
    }
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, of_row(after.id), both).await?;
    once.keep(&tx, act, &after.id).await?;
    tx.commit().await?;
    Ok(after)
}

/// A row that is not settled, with its advice.
async fn waiting(
    tx: &impl ConnectionTrait,
    row_id: i64,
) -> Result<(advice_row::Model, payer_advice::Model)> {
    let row = store::get_row(tx, "rowId", row_id).await?;
    let advice = store::get_advice(tx, "rowId", row.advice_id).await?;
    check_standing("rowId", &advice)?;
    if row.settled_at.is_some() {
        let message = format!(
            "Line {} of advice {} is settled.",
            row.position, advice.reference
        );
        return Err(Error::refused(ProblemCode::WrongState, "rowId", message));
    }
    Ok((row, advice))
}

fn check_fits(claim: &claim::Model, advice: &payer_advice::Model) -> Result<()> {
    if claim.payer_id != advice.payer_id {
        return Err(Error::not_found("claimId", "claim of this payer"));
    }
    if claims::to_rule(claim.state).takes_money() {
        return Ok(());
    }
    let message = format!("{} was not submitted, or is closed.", claim.number);
    Err(Error::refused(ProblemCode::WrongState, "claimId", message))
}

/// What was held back for a row of a posted advice is held back no more.
async fn let_go(
    tx: &impl ConnectionTrait,
    (advice, row): (&payer_advice::Model, &advice_row::Model),
) -> Result<()> {
    let Some(payment_id) = advice.payment_id else {
        return Ok(());
    };
    let payment = invoices::get_payment(tx, "rowId", payment_id).await?;
    let is_held = row.set_aside_because.is_none() && payment.reversed_on.is_none();
    if is_held {
        invoices::hold(tx, payment_id, -row.paid_cents).await?;
    }
    Ok(())
}

/// Lays the money of a row of a posted advice, and moves its claim on.
async fn settle(
    tx: &impl ConnectionTrait,
    act: &Act,
    by: (&'static str, i64),
    (advice, row): (&payer_advice::Model, advice_row::Model),
) -> Result<advice_row::Model> {
    let (verb, _) = by;
    let on = shop::settings(tx).await?.day_of(act.at);
    let plan = Plan::of(tx, "claimId", vec![row]).await?;
    let parts = plan.parts()?;
    if let Some(payment_id) = advice.payment_id {
        let payment = invoices::get_payment(tx, "rowId", payment_id).await?;
        check_free(&payment, parts.first())?;
        if !parts.is_empty() {
            books::check_open(tx, "", on).await?;
            let amounts = parts.iter().map(|part| (part.invoice_id, part.amount));
            let comes_in = ComesIn {
                customer_id: payment.customer_id,
                on,
                what: "Money",
                amounts: amounts.collect(),
            };
            invoices::recover(tx, act, by, comes_in).await?;
            invoices::lay_payment(tx, act, (verb, on), (&payment, &parts)).await?;
        }
    }
    let settled = plan.settle(tx, act, (verb, on), advice).await?;
    (settled.into_iter().next()).ok_or_else(|| Error::internal("a matched row was not settled"))
}

/// That a payment stands, and has left what a row is to lay.
fn check_free(payment: &payment::Model, part: Option<&PaymentPart>) -> Result<()> {
    if let Some(day) = payment.reversed_on {
        let message = format!(
            "{} was undone on {day}; undo the advice, too (undoAdvice).",
            payment.number
        );
        return Err(Error::refused(ProblemCode::WrongState, "rowId", message));
    }
    let left = Cents(payment.unallocated_cents).checked_sub(Cents(payment.held_cents));
    let left = left.unwrap_or(Cents::ZERO);
    let Some(part) = part.filter(|part| part.amount > left) else {
        return Ok(());
    };
    let message = format!(
        "{} of this row is to be laid, and only {left} of {} is left: the rest settles something else already.",
        part.amount, payment.number
    );
    Err(Error::refused(ProblemCode::TooMuch, "rowId", message))
}

/// A row that is about no claim of the shop.
#[derive(Clone, Debug)]
pub struct SetAdviceRowAside {
    pub row_id: i64,
    pub reason: String,
}

/// Sets a row aside that is about no claim of the shop, and takes off a match that it had. Its money stays the payer's
/// credit, free for anything. It may be matched later.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a row that is settled, or of an advice dropped or undone; `Missing`.
pub async fn set_advice_row_aside(
    act: &Act,
    order: SetAdviceRowAside,
) -> Result<advice_row::Model> {
    act.staff_with(Right::SetAdviceRowAside)?;
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let (before, advice) = waiting(&tx, order.row_id).await?;
    let_go(&tx, (&advice, &before)).await?;
    let mut row = before.clone().into_active_model();
    row.claim_id = Set(None);
    row.set_aside_because = Set(Some(reason));
    let after = row.update(&tx).await?;
    let verb = Right::SetAdviceRowAside.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, of_row(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

/// Drops an advice that was not posted: its rows count no more, and its file may come again.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one posted, dropped or undone.
pub async fn drop_advice(act: &Act, advice_id: i64) -> Result<payer_advice::Model> {
    act.staff_with(Right::DropAdvice)?;
    let tx = act.app.db.write().await?;
    let before = store::get_advice(&tx, "adviceId", advice_id).await?;
    check_not_posted("adviceId", &before)?;
    let mut row = before.clone().into_active_model();
    row.dropped_at = Set(Some(act.at));
    row.standing_sha256 = Set(None);
    let after = row.update(&tx).await?;
    let verb = Right::DropAdvice.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}
