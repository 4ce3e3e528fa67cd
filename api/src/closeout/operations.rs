//! Completing a call.

use chrono::NaiveDate;
use nameplate_entities::{callback, service_call, shop_warranty};
use nameplate_rules::books::events::PartPayer;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::calls::{self, CancelCall};
use crate::{books, callbacks, claims, estimates, invoices, shop, warranty};

use super::{borne, store};

/// A call whose work is done.
#[derive(Clone, Debug, Serialize)]
pub struct CompleteCall {
    #[serde(skip)]
    pub idempotency_key: String,
    pub call_id: i64,
    /// The day the work was done; today when left out.
    pub completed_on: Option<NaiveDate>,
}

/// A completed call, and what the shop now stands behind.
pub struct CompletedCall {
    pub call: service_call::Model,
    pub warranties: Vec<shop_warranty::Model>,
}

/// Completes a call: writes the shop's warranty on what was repaired, counts it, gives drafted claims their last day, takes
/// its parts out of stock and posts what they cost and what the shop bears of the call.
///
/// # Errors
/// `Forbidden`; `NotFound`; `IdempotencyMismatch`; `ImpossibleDate`, `PeriodClosed` at `completedOn`; `WrongState` for a
/// call that is not open, or on which nothing was done; `RootCauseNeeded` at `callId`.
pub async fn complete_call(act: &Act, command: CompleteCall) -> Result<CompletedCall> {
    act.staff_with(Right::CompleteCall)?;
    let verb = Right::CompleteCall.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &command.idempotency_key, &command).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return Ok(CompletedCall {
            call: calls::get_call(&tx, "", id).await?,
            warranties: warranty::of_call(&tx, id).await?,
        });
    }
    let before = calls::get_own_call(&tx, act, "callId", command.call_id).await?;
    calls::must_be_open(&before, "callId")?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let completed_on = command.completed_on.unwrap_or(today);
    let mut checks = Checks::new();
    checks.not_after("completedOn", completed_on, today);
    checks.in_order(&[
        ("callId", "the day it was opened,", Some(before.opened_on)),
        ("completedOn", "Its last day", Some(completed_on)),
    ]);
    is_ready(&tx, &mut checks, &before).await?;
    checks.finish()?;
    books::check_open(&tx, "completedOn", completed_on).await?;
    let call = calls::mark_completed(&tx, act, &before, completed_on).await?;
    claims::date_drafts(&tx, act, (verb, &call)).await?;
    let warranties = warranty::write(&tx, act, &call, completed_on).await?;
    let repairs = warranty::repairs_of(&tx, call.id).await?;
    callbacks::count(&tx, &call, &repairs).await?;
    callbacks::outcomes::refresh(&tx, call.appliance_id).await?;
    borne::post_costs(&tx, act, &call, completed_on).await?;
    once.keep(&tx, act, &call.id).await?;
    tx.commit().await?;
    Ok(CompletedCall { call, warranties })
}

/// Closes a call without work. What was offered for it is withdrawn: its links open no more; what it was proposed to be the
/// callback of, it is not.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a call that is billed, not open, or on which work was done.
pub async fn cancel_call(act: &Act, command: CancelCall) -> Result<service_call::Model> {
    let staff_id = act.staff_with(Right::CancelCall)?;
    let tx = act.app.db.write().await?;
    let call = calls::cancel(&tx, act, &command).await?;
    if invoices::is_billed(&tx, call.id).await? {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "callId",
            "This call is billed. Credit its invoice first.",
        ));
    }
    estimates::withdraw(&tx, act, call.id).await?;
    callbacks::reject_cancelled(&tx, act, (staff_id, call.id)).await?;
    callbacks::outcomes::refresh(&tx, call.appliance_id).await?;
    tx.commit().await?;
    Ok(call)
}

/// Whether the work is far enough to close.
async fn is_ready(
    tx: &impl ConnectionTrait,
    checks: &mut Checks,
    call: &service_call::Model,
) -> Result<()> {
    if !store::is_dealt_with(tx, call.id).await? {
        checks.refuse(
            ProblemCode::WrongState,
            "callId",
            "Write down first what was done about a finding, or that no fault was found.",
        );
    }
    if call.root_cause.is_none() && callbacks::asks_root_cause(tx, call).await? {
        checks.refuse(
            ProblemCode::RootCauseNeeded,
            "callId",
            "A failure is back, and its flag asks to act: write down the root cause first (recordRootCause).",
        );
    }
    Ok(())
}

/// Who pays for parts where nobody decided on the call: the shop on a callback that is the return of its work.
pub(super) fn payer(callback: Option<&callback::Model>) -> PartPayer {
    if callback.is_some_and(callbacks::is_return) {
        PartPayer::Shop
    } else {
        PartPayer::Customer
    }
}
