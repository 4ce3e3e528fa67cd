//! What a payer left unpaid of a claim: billed to the customer, borne by the shop, or taken back to the payer.

use chrono::NaiveDate;
use nameplate_entities::{claim, invoice};
use nameplate_rules::claims::{ClaimState, ClaimStep, promised};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use super::super::store;
use crate::base::audit::{self, Subject};
use crate::base::{Act, Error, ProblemCode, Result, Right, idempotency};
use crate::claims::{self, Taken};
use crate::{invoices, shop};

/// The rest of a claim.
#[derive(Clone, Debug, Serialize)]
pub struct ClaimRest {
    #[serde(skip)]
    pub idempotency_key: String,
    pub claim_id: i64,
    /// Why the payer does not pay it, in words the customer may read.
    pub reason: String,
    /// So much of what the payer will not pay, by its last answer; all of it when left out.
    pub amount: Option<Cents>,
}

/// Bills what a payer will not pay of a claim to the customer of the call, where the payer's terms let it, as of today. What
/// the payer said that it pays stays with the payer until it comes, or the payer says otherwise.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a claim that waits for its payer, of which the payer owes all that is open, or
/// of a payer whose rest may not be billed; `TooMuch` at `amount`; `PeriodClosed`; refusals name the field.
pub async fn bill_claim_rest(act: &Act, order: ClaimRest) -> Result<claim::Model> {
    let verb = Right::BillClaimRest.mutation();
    act.staff_with(Right::BillClaimRest)?;
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return claims::get_claim(&tx, "", id).await;
    }
    let rest = Rest::of(&tx, act, &order, MayBeClosed::OnceAnswered).await?;
    let reason = &order.reason;
    let moved = invoices::move_rest(
        &tx,
        act,
        verb,
        &rest.invoice,
        rest.amount,
        reason,
        rest.today,
    );
    let billed = at_claim(moved.await)?;
    noted(&tx, act, verb, (&rest.claim, &billed)).await?;
    once.keep(&tx, act, &rest.claim.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(rest.claim)
}

/// The shop bears what a payer will not pay of a claim, as of today; of a claim that was closed all that is open, whatever the
/// payer said.
///
/// # Errors
/// As [`bill_claim_rest`], whatever the payer's terms let be billed.
pub async fn bear_claim_rest(act: &Act, order: ClaimRest) -> Result<claim::Model> {
    let verb = Right::BearClaimRest.mutation();
    act.staff_with(Right::BearClaimRest)?;
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return claims::get_claim(&tx, "", id).await;
    }
    let rest = Rest::of(&tx, act, &order, MayBeClosed::Anywhere).await?;
    let reason = &order.reason;
    let borne = invoices::bear_rest(
        &tx,
        act,
        verb,
        &rest.invoice,
        rest.amount,
        reason,
        rest.today,
    );
    let loss = at_claim(borne.await)?;
    noted(&tx, act, verb, (&rest.claim, &loss)).await?;
    once.keep(&tx, act, &rest.claim.id).await?;
    tx.commit().await?;
    Ok(rest.claim)
}

/// A claim whose rest goes back to its payer.
#[derive(Clone, Debug, Serialize)]
pub struct UndoClaimRest {
    #[serde(skip)]
    pub idempotency_key: String,
    pub claim_id: i64,
    pub reason: String,
}

/// Takes back all that was billed or borne of a claim, as of today, so that its payer can pay it, such as after an appeal. A
/// closed claim is taken up again where it was closed. What the customer paid of it is the customer's credit, to be paid back or
/// laid against another invoice.
///
/// # Errors
/// `Forbidden`, also for what the shop bears and who may not let it bear that; `NotFound`; `WrongState` where nothing was billed
/// or borne; `Missing`; `PeriodClosed`.
pub async fn undo_claim_rest(act: &Act, order: UndoClaimRest) -> Result<claim::Model> {
    let verb = Right::UndoClaimRest.mutation();
    act.staff_with(Right::UndoClaimRest)?;
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return claims::get_claim(&tx, "", id).await;
    }
    let claim = claims::get_claim(&tx, "claimId", order.claim_id).await?;
    let invoice = store::invoice_of(&tx, &claim).await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    if invoices::is_rest_borne(&tx, &invoice).await? {
        // Who may not let the shop bear a loss may not take that back either.
        act.staff_with(Right::BearClaimRest)?;
    }
    let undone = invoices::undo_rest(&tx, act, verb, &invoice, &order.reason, today);
    at_claim(undone.await)?;
    noted(&tx, act, verb, (&claim, &order.reason)).await?;
    let claim = taken_up_again(&tx, act, verb, (claim, &order.reason), today).await?;
    once.keep(&tx, act, &claim.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(claim)
}

/// A closed claim goes on, as something of it is open again; a void one does not.
async fn taken_up_again(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    (claim, reason): (claim::Model, &str),
    on: NaiveDate,
) -> Result<claim::Model> {
    let is_closed = claims::to_rule(claim.state) == ClaimState::Closed;
    if !is_closed || claim.standing_invoice_id.is_none() {
        return Ok(claim);
    }
    let taken = Taken {
        step: ClaimStep::Resume,
        on,
        note: Some(reason.trim().to_owned()),
        reason: None,
        cents: None,
        by: None,
    };
    claims::take_step(tx, act, (verb, &claim), taken).await
}

/// Which closed claims an act takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum MayBeClosed {
    /// Those that the payer had answered.
    OnceAnswered,
    /// All: the shop gave them up.
    Anywhere,
}

/// A claim that the payer has answered, its invoice, and what of it is settled otherwise.
struct Rest {
    claim: claim::Model,
    invoice: invoice::Model,
    amount: Cents,
    today: NaiveDate,
}

impl Rest {
    async fn of(
        tx: &impl ConnectionTrait,
        act: &Act,
        order: &ClaimRest,
        closed: MayBeClosed,
    ) -> Result<Self> {
        let claim = claims::get_claim(tx, "claimId", order.claim_id).await?;
        check_answered(tx, &claim, closed).await?;
        let balance = claims::balance(tx, &claim).await?;
        let fault = |refusal| Error::caused("balance of a claim", refusal);
        let open = balance.open().map_err(fault)?;
        if open <= Cents::ZERO {
            return refused(format!("Nothing of {} is open.", claim.number));
        }
        let is_given_up =
            closed == MayBeClosed::Anywhere && claims::to_rule(claim.state) == ClaimState::Closed;
        let rest = if is_given_up {
            open
        } else {
            let steps = claims::steps_taken(tx, claim.id).await?;
            let promised = promised(balance.claimed, &steps);
            balance.rest(promised).map_err(fault)?
        };
        if rest <= Cents::ZERO {
            return refused(format!(
                "The payer said, or paid as if, it pays the {open} that are open of {}. If it will not, write its answer \
                 down first (noteClaimAnswer).",
                claim.number
            ));
        }
        let amount = order.amount.unwrap_or(rest);
        if amount > rest {
            let message = format!(
                "Only {rest} of {} is what its payer will not pay, by its last answer.",
                claim.number
            );
            return Err(Error::refused(ProblemCode::TooMuch, "amount", message));
        }
        Ok(Self {
            invoice: store::invoice_of(tx, &claim).await?,
            amount,
            today: shop::settings(tx).await?.day_of(act.at),
            claim,
        })
    }
}

fn refused<T>(message: String) -> Result<T> {
    Err(Error::refused(ProblemCode::WrongState, "claimId", message))
}

/// While the payer may still pay it, nobody else owes it; what a void claim asked is billed otherwise.
async fn check_answered(
    tx: &impl ConnectionTrait,
    claim: &claim::Model,
    closed: MayBeClosed,
) -> Result<()> {
    if claim.standing_invoice_id.is_none() {
        return refused(format!("{} is void; nothing of it is left.", claim.number));
    }
    let mut state = claims::to_rule(claim.state);
    if state == ClaimState::Closed {
        if closed == MayBeClosed::Anywhere {
            return Ok(());
        }
        let before = claims::closed_in(tx, claim.id).await?;
        state = before.map_or(state, claims::to_rule);
    }
    if state.is_answered() {
        return Ok(());
    }
    refused(format!(
        "The payer has not answered {} for good; wait for its answer, or write it down (noteClaimAnswer).",
        claim.number
    ))
}

/// What invoices refuse, at the fields of these acts: they go by today, and name the claim and no invoice.
fn at_claim<T>(outcome: Result<T>) -> Result<T> {
    outcome.map_err(|error| match error {
        Error::Refused(mut problems) => {
            for problem in &mut problems {
                if problem.path.is_empty() {
                    "claimId".clone_into(&mut problem.path);
                } else if problem.path == "on" {
                    problem.path.clear();
                }
            }
            Error::Refused(problems)
        }
        other => other,
    })
}

async fn noted<T: Serialize>(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    (claim, what): (&claim::Model, &T),
) -> Result<()> {
    let subject = Subject {
        kind: "claim",
        id: claim.id,
    };
    audit::record(tx, act, verb, subject, (Some(claim), Some(what))).await
}
