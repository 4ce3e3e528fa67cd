//! What a payer left unpaid of a claim: billed to the customer, borne by the shop, or taken back to the payer.

use chrono::NaiveDate;
use nameplate_entities::{claim, invoice};
use nameplate_rules::claims::{ClaimState, ClaimStep};
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
    /// So much of what is open; all of it when left out.
    pub amount: Option<Cents>,
}

/// Bills what a payer left unpaid of a claim to the customer of the call, where the payer's terms let it, as of today.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a claim that waits for its payer, or of a payer whose rest may not be billed;
/// `TooMuch` at `amount`; `PeriodClosed`; refusals name the field.
pub async fn bill_claim_rest(act: &Act, order: ClaimRest) -> Result<claim::Model> {
    let verb = Right::BillClaimRest.mutation();
    act.staff_with(Right::BillClaimRest)?;
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return claims::get_claim(&tx, "", id).await;
    }
    let rest = Rest::of(&tx, act, &order).await?;
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

/// The shop bears what a payer left unpaid of a claim, as of today.
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
    let rest = Rest::of(&tx, act, &order).await?;
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
/// `Forbidden`; `NotFound`; `WrongState` where nothing was billed or borne; `Missing`; `PeriodClosed`.
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
    };
    claims::take_step(tx, act, (verb, &claim), taken).await
}

/// A claim that the payer has answered, its invoice, and what of it is settled otherwise.
struct Rest {
    claim: claim::Model,
    invoice: invoice::Model,
    amount: Cents,
    today: NaiveDate,
}

impl Rest {
    async fn of(tx: &impl ConnectionTrait, act: &Act, order: &ClaimRest) -> Result<Self> {
        let claim = claims::get_claim(tx, "claimId", order.claim_id).await?;
        check_answered(&claim)?;
        let balance = claims::balance(tx, &claim).await?;
        let open = balance.open();
        let open = open.map_err(|refusal| Error::caused("balance of a claim", refusal))?;
        if open <= Cents::ZERO {
            let message = format!("Nothing of {} is open.", claim.number);
            return Err(Error::refused(ProblemCode::WrongState, "claimId", message));
        }
        Ok(Self {
            invoice: store::invoice_of(tx, &claim).await?,
            amount: order.amount.unwrap_or(open),
            today: shop::settings(tx).await?.day_of(act.at),
            claim,
        })
    }
}

/// While the payer may still pay it, nobody else owes it; what a void claim asked is billed otherwise.
fn check_answered(claim: &claim::Model) -> Result<()> {
    if claim.standing_invoice_id.is_none() {
        let message = format!("{} is void; nothing of it is left.", claim.number);
        return Err(Error::refused(ProblemCode::WrongState, "claimId", message));
    }
    let is_answered = matches!(
        claims::to_rule(claim.state),
        ClaimState::PartApproved | ClaimState::Denied | ClaimState::Paid | ClaimState::Closed
    );
    if is_answered {
        return Ok(());
    }
    let message = format!(
        "The payer has not answered {} for good; wait for its answer, or write it down (noteClaimAnswer).",
        claim.number
    );
    Err(Error::refused(ProblemCode::WrongState, "claimId", message))
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
