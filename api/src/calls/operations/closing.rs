//! Cancelling a call, and writing down why a failure returned.

use nameplate_entities::kinds::{CallState, VisitState};
use nameplate_entities::service_call;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};
use serde::Serialize;

use crate::base::audit;
use crate::base::check::TEXT_MAX;
use crate::base::{Act, Checks, ProblemCode, Result, Right};

use super::super::records::{must_be_open, subject};
use super::super::store;
use super::visits;

/// A call to close without work.
#[derive(Clone, Debug)]
pub struct CancelCall {
    pub call_id: i64,
    /// Why; kept in the audit log.
    pub reason: String,
}

/// The audit row of a cancelled call: the record and what the caller said.
#[derive(Serialize)]
struct Cancelled<'a> {
    call: &'a service_call::Model,
    reason: String,
}

/// Closes a call without work. Trips planned for nothing else will not be made.
///
/// # Errors
/// `NotFound`; `WrongState` for a call that is not open, or on which work was done.
pub async fn cancel(
    tx: &impl ConnectionTrait,
    act: &Act,
    cancel: &CancelCall,
) -> Result<service_call::Model> {
    let mut checks = Checks::new();
    let reason = checks.text("reason", &cancel.reason, TEXT_MAX);
    let before = store::get_own_call(tx, act, "callId", cancel.call_id).await?;
    must_be_open(&before, "callId")?;
    if was_worked_on(tx, before.id).await? {
        checks.refuse(
            ProblemCode::WrongState,
            "callId",
            "Work was done on this call. Complete it instead.",
        );
    }
    checks.finish()?;
    for visit in store::planned_for_alone(tx, before.id).await? {
        visits::finish(tx, act, Right::CancelCall, (visit, VisitState::Missed)).await?;
    }
    let mut row = before.clone().into_active_model();
    row.state = Set(CallState::Cancelled);
    row.version = Set(before.version + 1);
    let after = row.update(tx).await?;
    let said = Cancelled {
        call: &after,
        reason,
    };
    audit::record(
        tx,
        act,
        Right::CancelCall.mutation(),
        subject(after.id),
        (Some(&before), Some(&said)),
    )
    .await?;
    Ok(after)
}

async fn was_worked_on(tx: &impl ConnectionTrait, call_id: i64) -> Result<bool> {
    let findings = store::findings_of_calls(tx, [call_id]).await?;
    let remedies = store::remedies_of_findings(tx, findings.iter().map(|row| row.id)).await?;
    Ok(!remedies.is_empty())
}

/// Why a failure returned.
#[derive(Clone, Debug)]
pub struct RecordRootCause {
    pub call_id: i64,
    pub root_cause: String,
}

/// Writes down why a failure returned, which some flags ask for before the call can close.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Missing`; `WrongState` for a call that is not open.
pub async fn record_root_cause(act: &Act, new: RecordRootCause) -> Result<service_call::Model> {
    act.staff_with(Right::RecordRootCause)?;
    let mut checks = Checks::new();
    let root_cause = checks.text("rootCause", &new.root_cause, TEXT_MAX);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let before = store::get_own_call(&tx, act, "callId", new.call_id).await?;
    must_be_open(&before, "callId")?;
    let mut row = before.clone().into_active_model();
    row.root_cause = Set(Some(root_cause));
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    audit::record(
        &tx,
        act,
        Right::RecordRootCause.mutation(),
        subject(after.id),
        (Some(&before), Some(&after)),
    )
    .await?;
    tx.commit().await?;
    Ok(after)
}
