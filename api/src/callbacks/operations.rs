//! Deciding what came back, and moving flags along.

use nameplate_entities::kinds::{CallbackClass, CallbackState, FlagState};
use nameplate_entities::{callback, flag, flag_step};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::check::TEXT_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};

use super::{outcomes, store};

/// What the office makes of a proposed callback.
#[derive(Clone, Debug)]
pub enum Decision {
    /// It is the return of the earlier call. Its class may be left open until something is found.
    Confirm { class: Option<CallbackClass> },
    /// It has nothing to do with the earlier call.
    Reject,
}

/// A decision on a callback.
#[derive(Clone, Debug)]
pub struct DecideCallback {
    pub callback_id: i64,
    pub decision: Decision,
    pub note: Option<String>,
}

/// Confirms or rejects a proposed callback; a confirmed one may be confirmed again to set its class.
///
/// The earlier call is counted by the first callback that is confirmed, and by no other.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one that was rejected, or confirmed and now to be rejected.
pub async fn decide_callback(act: &Act, command: DecideCallback) -> Result<callback::Model> {
    let staff_id = act.staff_with(Right::DecideCallback)?;
    let mut checks = Checks::new();
    let note = checks.text_if_any("note", command.note.as_deref(), TEXT_MAX);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let before = store::get_callback(&tx, "callbackId", command.callback_id).await?;
    let mut row = before.clone().into_active_model();
    match (before.state, &command.decision) {
        (CallbackState::Proposed, Decision::Confirm { class }) => {
            let counted = store::is_counted(&tx, before.earlier_call_id).await?;
            row.state = Set(CallbackState::Confirmed);
            row.class = Set(*class);
            row.counted_call_id = Set((!counted).then_some(before.earlier_call_id));
        }
        (CallbackState::Confirmed, Decision::Confirm { class }) => {
            row.class = Set(class.or(before.class));
        }
        (CallbackState::Proposed, Decision::Reject) => {
            row.state = Set(CallbackState::Rejected);
        }
        (CallbackState::Confirmed | CallbackState::Rejected, _) => {
            return Err(Error::refused(
                ProblemCode::WrongState,
                "decision",
                "This callback was decided already. Only the class of a confirmed one can still be set.",
            ));
        }
    }
    row.decided_by = Set(Some(staff_id));
    row.decided_at = Set(Some(act.at));
    if note.is_some() {
        row.note = Set(note);
    }
    let after = row.update(&tx).await?;
    let subject = Subject {
        kind: "callback",
        id: after.id,
    };
    let verb = Right::DecideCallback.mutation();
    audit::record(&tx, act, verb, subject, (Some(&before), Some(&after))).await?;
    outcomes::refresh(&tx, store::machine_of_call(&tx, after.call_id).await?).await?;
    tx.commit().await?;
    Ok(after)
}

/// One step of a flag.
#[derive(Clone, Debug)]
pub struct MoveFlag {
    pub flag_id: i64,
    pub to: FlagState,
    pub note: String,
}

/// Moves a flag one step on: acknowledged, answered, closed. Who did so and the note are kept.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Missing` without a note; `WrongState` for any other step.
pub async fn move_flag(act: &Act, command: MoveFlag) -> Result<flag::Model> {
    let staff_id = act.staff_with(Right::MoveFlag)?;
    let mut checks = Checks::new();
    let note = checks.text("note", &command.note, TEXT_MAX);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let before = store::get_flag(&tx, "flagId", command.flag_id).await?;
    if step_after(before.state) != Some(command.to) {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "to",
            "A flag goes from open to acknowledged, to answered, to closed, one step at a time.",
        ));
    }
    let mut row = before.clone().into_active_model();
    row.state = Set(command.to);
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    flag_step::ActiveModel {
        flag_id: Set(after.id),
        at: Set(act.at),
        staff_id: Set(staff_id),
        state: Set(command.to),
        note: Set(note),
        ..Default::default()
    }
    .insert(&tx)
    .await?;
    let subject = Subject {
        kind: "flag",
        id: after.id,
    };
    let verb = Right::MoveFlag.mutation();
    audit::record(&tx, act, verb, subject, (Some(&before), Some(&after))).await?;
    tx.commit().await?;
    Ok(after)
}

fn step_after(state: FlagState) -> Option<FlagState> {
    match state {
        FlagState::Open => Some(FlagState::Acknowledged),
        FlagState::Acknowledged => Some(FlagState::Answered),
        FlagState::Answered => Some(FlagState::Closed),
        FlagState::Closed => None,
    }
}
