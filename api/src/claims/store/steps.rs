//! What happened to a claim, and where that led, as it is kept and as the rules read it.

use nameplate_entities::{claim_step, kinds};
use nameplate_rules::claims::{ClaimState, ClaimStep, StepTaken};
use nameplate_rules::money::Cents;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use crate::base::{Error, Result};

/// What steps of a claim are taken by, where it is more than somebody's word.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TakenBy {
    AdviceRow(i64),
    Payment(i64),
}

impl TakenBy {
    /// As a step keeps it.
    #[must_use]
    pub fn of(advice_row_id: Option<i64>, payment_id: Option<i64>) -> Option<Self> {
        let payment = payment_id.map(Self::Payment);
        advice_row_id.map(Self::AdviceRow).or(payment)
    }
}

/// What happened to a claim last.
///
/// # Errors
/// Internal, for a claim without a step.
pub async fn last_step(db: &impl ConnectionTrait, claim_id: i64) -> Result<claim_step::Model> {
    claim_step::Entity::find()
        .filter(claim_step::Column::ClaimId.eq(claim_id))
        .order_by_desc(claim_step::Column::Id)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a claim has no step"))
}

/// What happened to a claim, oldest first, as the rules read it.
///
/// # Errors
/// Internal only.
pub async fn steps_taken(
    db: &impl ConnectionTrait,
    claim_id: i64,
) -> Result<Vec<StepTaken<TakenBy>>> {
    let rows = claim_step::Entity::find()
        .filter(claim_step::Column::ClaimId.eq(claim_id))
        .order_by_asc(claim_step::Column::Id)
        .all(db)
        .await?;
    Ok((rows.into_iter())
        // A draft is where a claim begins.
        .filter_map(|row| {
            Some(StepTaken {
                step: step_to_rule(row.step)?,
                state: to_rule(row.state),
                cents: row.cents.map(Cents),
                by: TakenBy::of(row.advice_row_id, row.payment_id),
            })
        })
        .collect())
}

/// The state in which a closed claim was closed; none for one whose last step did not close it.
///
/// # Errors
/// Internal only.
pub async fn closed_in(
    db: &impl ConnectionTrait,
    claim_id: i64,
) -> Result<Option<kinds::ClaimState>> {
    let last = claim_step::Entity::find()
        .filter(claim_step::Column::ClaimId.eq(claim_id))
        .order_by_desc(claim_step::Column::Id)
        .limit(2)
        .all(db)
        .await?;
    Ok(match last.as_slice() {
        [closed, before] if closed.step == kinds::ClaimStep::Close => Some(before.state),
        _ => None,
    })
}

/// The step.
///
/// # Errors
/// `NotFound`.
pub async fn get_step(db: &impl ConnectionTrait, id: i64) -> Result<claim_step::Model> {
    claim_step::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found("", "step of a claim"))
}

/// Where a claim stands, for the rules.
#[must_use]
pub const fn to_rule(state: kinds::ClaimState) -> ClaimState {
    use kinds::ClaimState as K;
    match state {
        K::Draft => ClaimState::Draft,
        K::Ready => ClaimState::Ready,
        K::Submitted => ClaimState::Submitted,
        K::Queried => ClaimState::Queried,
        K::Approved => ClaimState::Approved,
        K::PartApproved => ClaimState::PartApproved,
        K::Denied => ClaimState::Denied,
        K::Paid => ClaimState::Paid,
        K::Appealed => ClaimState::Appealed,
        K::Closed => ClaimState::Closed,
    }
}

/// A step, for the rules; none for the draft that a claim begins as.
const fn step_to_rule(step: kinds::ClaimStep) -> Option<ClaimStep> {
    use kinds::ClaimStep as K;
    Some(match step {
        K::Drafted => return None,
        K::MakeReady => ClaimStep::MakeReady,
        K::Reopen => ClaimStep::Reopen,
        K::Submit => ClaimStep::Submit,
        K::Query => ClaimStep::Query,
        K::Approve => ClaimStep::Approve,
        K::ApprovePart => ClaimStep::ApprovePart,
        K::Deny => ClaimStep::Deny,
        K::Pay => ClaimStep::Pay,
        K::Appeal => ClaimStep::Appeal,
        K::Close => ClaimStep::Close,
        K::Resume => ClaimStep::Resume,
        K::Void => ClaimStep::Void,
        K::Unsay => ClaimStep::Unsay,
    })
}

/// Where the rules say a claim stands, as kept.
#[must_use]
pub const fn from_rule(state: ClaimState) -> kinds::ClaimState {
    use kinds::ClaimState as K;
    match state {
        ClaimState::Draft => K::Draft,
        ClaimState::Ready => K::Ready,
        ClaimState::Submitted => K::Submitted,
        ClaimState::Queried => K::Queried,
        ClaimState::Approved => K::Approved,
        ClaimState::PartApproved => K::PartApproved,
        ClaimState::Denied => K::Denied,
        ClaimState::Paid => K::Paid,
        ClaimState::Appealed => K::Appealed,
        ClaimState::Closed => K::Closed,
    }
}
