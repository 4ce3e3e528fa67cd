//! What the office makes of a proposed callback, and what it makes of it later.
//!
//! What must stay true: of the callbacks of a completed call that are its return the first counts it, and no other, whatever
//! the order in which they were decided; what was decided is changed only with a note; the callback of a cancelled call is
//! rejected.

use nameplate_entities::callback;
use nameplate_entities::kinds::{CallState, CallbackClass, CallbackState};
use nameplate_rules::callback::{Classification, classify};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::check::TEXT_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::calls;

use super::store;

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

/// A callback before and after a decision.
pub struct Decided {
    pub before: callback::Model,
    pub after: callback::Model,
}

/// Confirms or rejects a callback, or classes it; also otherwise than was decided before.
///
/// A confirmed one that is confirmed without a class keeps the one it has; a rejected one has none.
///
/// # Errors
/// `NotFound`; `WrongState` at `callbackId` once its call is cancelled; `Missing` at `note` where it changes what was decided.
pub async fn decide(
    tx: &impl ConnectionTrait,
    act: &Act,
    staff_id: i64,
    command: &DecideCallback,
) -> Result<Decided> {
    let mut checks = Checks::new();
    let note = checks.text_if_any("note", command.note.as_deref(), TEXT_MAX);
    checks.finish()?;
    let before = store::get_callback(tx, "callbackId", command.callback_id).await?;
    let call = calls::get_call(tx, "callbackId", before.call_id).await?;
    if call.state == CallState::Cancelled {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "callbackId",
            "Its call was cancelled, which rejected it.",
        ));
    }
    let mut row = before.clone().into_active_model();
    let (state, class) = match command.decision {
        Decision::Confirm { class } => {
            // Nothing was suggested while it was rejected.
            let found = store::found_twice(tx, &before).await?;
            let suggested = classify(&found.earlier, &found.new).map(store::class_of);
            row.suggested_class = Set(suggested);
            (CallbackState::Confirmed, class.or(before.class))
        }
        Decision::Reject => (CallbackState::Rejected, None),
    };
    if changes((before.state, before.class), (state, class)) && note.is_none() {
        return Err(Error::refused(
            ProblemCode::Missing,
            "note",
            "This changes what was decided. Say why in a note.",
        ));
    }
    row.state = Set(state);
    row.class = Set(class);
    row.decided_by = Set(Some(staff_id));
    row.decided_at = Set(Some(act.at));
    if note.is_some() {
        row.note = Set(note);
    }
    if state != CallbackState::Confirmed {
        row.counted_call_id = Set(None);
    }
    let after = row.update(tx).await?;
    let verb = Right::DecideCallback.mutation();
    record(tx, (act, verb), (&before, &after)).await?;
    count_first(tx, (act, verb), after.earlier_call_id).await?;
    let after = store::get_callback(tx, "callbackId", after.id).await?;
    Ok(Decided { before, after })
}

/// Whether a callback is confirmed, and by its class, or while that is open by what the findings say, counts against the
/// earlier repair.
#[must_use]
pub fn is_return(row: &callback::Model) -> bool {
    let class = row.class.or(row.suggested_class).map(store::class_as_rule);
    row.state == CallbackState::Confirmed && class.is_none_or(Classification::is_return)
}

/// Rejects the callback that a cancelled call was proposed to be, so that the next one may count the earlier call.
///
/// # Errors
/// Internal only.
pub async fn reject_cancelled(
    tx: &impl ConnectionTrait,
    act: &Act,
    (staff_id, call_id): (i64, i64),
) -> Result<()> {
    let Some(before) = store::callback_of(tx, call_id).await? else {
        return Ok(());
    };
    if before.state == CallbackState::Rejected {
        return Ok(());
    }
    let mut row = before.clone().into_active_model();
    row.state = Set(CallbackState::Rejected);
    row.class = Set(None);
    row.counted_call_id = Set(None);
    row.decided_by = Set(Some(staff_id));
    row.decided_at = Set(Some(act.at));
    row.note = Set(Some("The call was cancelled.".to_owned()));
    let after = row.update(tx).await?;
    let verb = Right::CancelCall.mutation();
    record(tx, (act, verb), (&before, &after)).await?;
    count_first(tx, (act, verb), after.earlier_call_id).await
}

/// Whether something that was decided is decided otherwise; a class that was left open may be set without a word.
pub(super) fn changes(
    before: (CallbackState, Option<CallbackClass>),
    after: (CallbackState, Option<CallbackClass>),
) -> bool {
    let state_changes = before.0 != CallbackState::Proposed && before.0 != after.0;
    let class_changes = before.1.is_some() && before.1 != after.1;
    state_changes || class_changes
}

/// Counts a completed call by the first callback that is its return; one that counted it after that counts it no more.
pub(super) async fn count_first(
    tx: &impl ConnectionTrait,
    (act, verb): (&Act, &'static str),
    earlier_call_id: i64,
) -> Result<()> {
    let rows = store::callbacks_of_earlier(tx, earlier_call_id).await?;
    let first = rows.iter().find(|row| is_return(row)).map(|row| row.id);
    let counts = |row: &callback::Model| row.counted_call_id.is_some();
    // First take it off the one, as only one at a time may count a call.
    let off = rows
        .iter()
        .filter(|row| counts(row) && Some(row.id) != first);
    let on = rows
        .iter()
        .filter(|row| !counts(row) && Some(row.id) == first);
    let changes = off
        .map(|row| (row, None))
        .chain(on.map(|row| (row, Some(earlier_call_id))));
    for (before, counted) in changes {
        let mut row = before.clone().into_active_model();
        row.counted_call_id = Set(counted);
        let after = row.update(tx).await?;
        record(tx, (act, verb), (before, &after)).await?;
    }
    Ok(())
}

async fn record(
    tx: &impl ConnectionTrait,
    (act, verb): (&Act, &'static str),
    (before, after): (&callback::Model, &callback::Model),
) -> Result<()> {
    let subject = Subject {
        kind: "callback",
        id: after.id,
    };
    audit::record(tx, act, verb, subject, (Some(before), Some(after))).await
}
