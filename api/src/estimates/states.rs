//! How a revision moves from state to state: the rules decide, the row follows, the audit log remembers.

use nameplate_entities::estimate_revision::{self, ActiveModel};
use nameplate_entities::kinds::EstimateState;
use nameplate_rules::estimate::{EstimateRefusal, EstimateState as State};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::{Act, Error, ProblemCode, Result};

/// Marks the accepted revision as billed, in the transaction that issues the invoice.
///
/// # Errors
/// `WrongState` for one that is not accepted or billed already, `Superseded`.
pub async fn mark_invoiced(
    tx: &impl ConnectionTrait,
    act: &Act,
    revision: &estimate_revision::Model,
) -> Result<estimate_revision::Model> {
    let state = of_row(revision.state)
        .invoice()
        .map_err(|refusal| refused("", refusal))?;
    moved(tx, act, "issueInvoice", revision, |row| {
        row.state = Set(for_row(state));
    })
    .await
}

/// Marks that the whole invoice of a billed revision was taken back, or that it is billed once more.
///
/// While it is marked, the revision can be billed again, and gives way to another estimate that the customer accepts.
///
/// # Errors
/// Internal only.
pub async fn mark_billing(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    (revision_id, taken_back): (i64, bool),
) -> Result<()> {
    let found = estimate_revision::Entity::find_by_id(revision_id).one(tx);
    let Some(revision) = found.await? else {
        return Err(Error::internal("a billed revision is gone"));
    };
    if revision.state == EstimateState::Invoiced && revision.billing_taken_back != taken_back {
        moved(tx, act, verb, &revision, |row| {
            row.billing_taken_back = Set(taken_back);
        })
        .await?;
    }
    Ok(())
}

/// Writes a change of a revision and its audit row.
pub(super) async fn moved(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    before: &estimate_revision::Model,
    change: impl FnOnce(&mut ActiveModel),
) -> Result<estimate_revision::Model> {
    let mut row = before.clone().into_active_model();
    change(&mut row);
    row.version = Set(before.version + 1);
    let after = row.update(tx).await?;
    let subject = Subject {
        kind: "estimate_revision",
        id: after.id,
    };
    audit::record(tx, act, verb, subject, (Some(before), Some(&after))).await?;
    Ok(after)
}

/// A row's state as the rules name it.
pub(super) fn of_row(state: EstimateState) -> State {
    match state {
        EstimateState::Draft => State::Draft,
        EstimateState::Sent => State::Sent,
        EstimateState::Accepted => State::Accepted,
        EstimateState::Declined => State::Declined,
        EstimateState::Expired => State::Expired,
        EstimateState::Superseded => State::Superseded,
        EstimateState::Invoiced => State::Invoiced,
    }
}

/// A state of the rules as rows keep it.
pub(super) fn for_row(state: State) -> EstimateState {
    match state {
        State::Draft => EstimateState::Draft,
        State::Sent => EstimateState::Sent,
        State::Accepted => EstimateState::Accepted,
        State::Declined => EstimateState::Declined,
        State::Expired => EstimateState::Expired,
        State::Superseded => EstimateState::Superseded,
        State::Invoiced => EstimateState::Invoiced,
    }
}

/// A refusal of the rules at an input path.
pub(super) fn refused(path: &str, refusal: EstimateRefusal) -> Error {
    let code = match refusal {
        EstimateRefusal::Expired { .. } => ProblemCode::Expired,
        EstimateRefusal::Superseded => ProblemCode::Superseded,
        EstimateRefusal::EndsBeforeSent { .. } => ProblemCode::ImpossibleDate,
        EstimateRefusal::NotDraft { .. }
        | EstimateRefusal::NotSent
        | EstimateRefusal::AlreadyAnswered { .. }
        | EstimateRefusal::NotYetExpired { .. }
        | EstimateRefusal::AlreadyInvoiced
        | EstimateRefusal::NotAccepted { .. } => ProblemCode::WrongState,
    };
    Error::refused(code, path, sentence(&refusal.to_string()))
}

/// A refusal's words as a sentence.
pub(super) fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        format!("{}{}.", first.to_uppercase(), letters.as_str())
    })
}
