//! The life of a claim: the one way in which a step is taken, whatever act asks for it.

use chrono::NaiveDate;
use nameplate_entities::{claim, claim_step, kinds};
use nameplate_rules::claims::{ClaimState, ClaimStep, StepRefusal, unsaid as unsaid_by};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use super::super::store::{self, TakenBy};
use crate::base::audit::{self, Subject};
use crate::base::{Act, Checks, Error, ProblemCode, Result};
use crate::{calls, shop};

/// A step that is taken.
#[derive(Clone, Debug)]
pub struct Taken {
    pub step: ClaimStep,
    pub on: NaiveDate,
    pub note: Option<String>,
    /// The payer's reason: code, and the release of the list it is of.
    pub reason: Option<(String, String)>,
    /// Approved, refused or paid.
    pub cents: Option<Cents>,
    /// What it is taken by, or what it unsays.
    pub by: Option<TakenBy>,
}

/// Takes a step of a claim in an open transaction: the row of the step, the claim's new state, and the audit of both.
///
/// # Errors
/// `WrongState` at `claimId` where the life of a claim has no such step now; `ImpossibleDate` at `on` for a day to come, or
/// one before the step before. When a claim is first sent, only the call must have been completed by then: it may have gone
/// out before anybody wrote it down here.
pub async fn take_step(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, claim): (&'static str, &claim::Model),
    taken: Taken,
) -> Result<claim::Model> {
    let (after, _) = step_with(tx, act, (verb, claim), taken, |_| ()).await?;
    Ok(after)
}

/// The same with what else changes on the claim, and with the row of the step.
///
/// # Errors
/// As [`take_step`].
pub async fn step_with(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, claim): (&'static str, &claim::Model),
    taken: Taken,
    change: impl FnOnce(&mut claim::ActiveModel),
) -> Result<(claim::Model, claim_step::Model)> {
    let state = match taken.step {
        ClaimStep::Resume => resumed(tx, claim).await?,
        ClaimStep::Unsay => unsaid(tx, claim, taken.by).await?,
        step => after(claim, step)?,
    };
    let today = shop::settings(tx).await?.day_of(act.at);
    let is_first_sending = taken.step == ClaimStep::Submit && claim.submitted_on.is_none();
    let (name, earliest) = if is_first_sending {
        let call = calls::get_call(tx, "claimId", claim.call_id).await?;
        ("The day the call was completed", call.completed_on)
    } else {
        let last = store::last_step(tx, claim.id).await?;
        ("The day of the step before", Some(last.taken_on))
    };
    let mut checks = Checks::new();
    checks.not_after("on", taken.on, today);
    checks.in_order(&[
        ("on", name, earliest),
        ("on", "The day of this one", Some(taken.on)),
    ]);
    checks.finish()?;
    let mut row = claim.clone().into_active_model();
    row.state = Set(store::from_rule(state));
    row.version = Set(claim.version + 1);
    if is_first_sending {
        row.submitted_on = Set(Some(taken.on));
    }
    if taken.step == ClaimStep::Void {
        row.standing_call_id = Set(None);
        row.standing_invoice_id = Set(None);
    }
    change(&mut row);
    let after = row.update(tx).await?;
    let step = write(tx, act, &after, taken).await?;
    let both = (Some(claim), Some(&after));
    audit::record(tx, act, verb, subject(claim.id), both).await?;
    Ok((after, step))
}

/// Where a step leads.
///
/// # Errors
/// `WrongState` at `claimId`.
pub fn after(claim: &claim::Model, step: ClaimStep) -> Result<ClaimState> {
    must_stand(claim)?;
    let after = store::to_rule(claim.state).after(step);
    after.map_err(|refusal| no_such_step(claim, refusal))
}

/// Where a claim that is taken up again goes on.
async fn resumed(tx: &impl ConnectionTrait, claim: &claim::Model) -> Result<ClaimState> {
    must_stand(claim)?;
    let state = store::to_rule(claim.state);
    let closed_in = store::closed_in(tx, claim.id).await?;
    let resumed = state.resumed(closed_in.map_or(ClaimState::Closed, store::to_rule));
    resumed.map_err(|refusal| no_such_step(claim, refusal))
}

/// Where a claim goes on once that by which steps were taken is not about it.
async fn unsaid(
    tx: &impl ConnectionTrait,
    claim: &claim::Model,
    by: Option<TakenBy>,
) -> Result<ClaimState> {
    must_stand(claim)?;
    let state = store::to_rule(claim.state);
    let refused = StepRefusal {
        state,
        step: ClaimStep::Unsay,
    };
    let by = by.filter(|_| state.was_sent());
    let by = by.ok_or_else(|| no_such_step(claim, refused))?;
    let steps = store::steps_taken(tx, claim.id).await?;
    unsaid_by(&steps, by).ok_or_else(|| no_such_step(claim, refused))
}

fn must_stand(claim: &claim::Model) -> Result<()> {
    if claim.standing_invoice_id.is_some() {
        return Ok(());
    }
    let message = format!(
        "Claim {} is void; nothing more happens to it.",
        claim.number
    );
    Err(Error::refused(ProblemCode::WrongState, "claimId", message))
}

fn no_such_step(claim: &claim::Model, refusal: StepRefusal) -> Error {
    let message = format!(
        "Claim {} is {}; it cannot be {} now.",
        claim.number,
        state_words(refusal.state),
        step_words(refusal.step)
    );
    Error::refused(ProblemCode::WrongState, "claimId", message)
}

async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    claim: &claim::Model,
    taken: Taken,
) -> Result<claim_step::Model> {
    let (reason_code, reason_release) = taken.reason.unzip();
    let row = claim_step::ActiveModel {
        claim_id: Set(claim.id),
        step: Set(kept(taken.step)),
        state: Set(claim.state),
        taken_on: Set(taken.on),
        note: Set(taken.note),
        reason_code: Set(reason_code),
        reason_release: Set(reason_release),
        cents: Set(taken.cents.map(|amount| amount.0)),
        taken_at: Set(act.at),
        taken_by: Set(act.staff_id()),
        advice_row_id: Set(match taken.by {
            Some(TakenBy::AdviceRow(id)) => Some(id),
            _ => None,
        }),
        payment_id: Set(match taken.by {
            Some(TakenBy::Payment(id)) => Some(id),
            _ => None,
        }),
        ..Default::default()
    };
    Ok(row.insert(tx).await?)
}

/// What an audit entry of a claim is about.
#[must_use]
pub const fn subject(id: i64) -> Subject {
    Subject { kind: "claim", id }
}

const fn kept(step: ClaimStep) -> kinds::ClaimStep {
    use kinds::ClaimStep as K;
    match step {
        ClaimStep::MakeReady => K::MakeReady,
        ClaimStep::Reopen => K::Reopen,
        ClaimStep::Submit => K::Submit,
        ClaimStep::Query => K::Query,
        ClaimStep::Approve => K::Approve,
        ClaimStep::ApprovePart => K::ApprovePart,
        ClaimStep::Deny => K::Deny,
        ClaimStep::Pay => K::Pay,
        ClaimStep::Appeal => K::Appeal,
        ClaimStep::Close => K::Close,
        ClaimStep::Resume => K::Resume,
        ClaimStep::Void => K::Void,
        ClaimStep::Unsay => K::Unsay,
    }
}

/// A state in words.
#[must_use]
pub const fn state_words(state: ClaimState) -> &'static str {
    match state {
        ClaimState::Draft => "a draft",
        ClaimState::Ready => "ready",
        ClaimState::Submitted => "submitted",
        ClaimState::Queried => "queried",
        ClaimState::Approved => "approved",
        ClaimState::PartApproved => "approved in part",
        ClaimState::Denied => "denied",
        ClaimState::Paid => "paid",
        ClaimState::Appealed => "appealed",
        ClaimState::Closed => "closed",
    }
}

const fn step_words(step: ClaimStep) -> &'static str {
    match step {
        ClaimStep::MakeReady => "made ready",
        ClaimStep::Reopen => "changed",
        ClaimStep::Submit => "submitted",
        ClaimStep::Query => "queried",
        ClaimStep::Approve => "approved",
        ClaimStep::ApprovePart => "approved in part",
        ClaimStep::Deny => "denied",
        ClaimStep::Pay => "paid",
        ClaimStep::Appeal => "appealed",
        ClaimStep::Close => "closed",
        ClaimStep::Resume => "taken up again",
        ClaimStep::Void => "void",
        ClaimStep::Unsay => "set back",
    }
}
