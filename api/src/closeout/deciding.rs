//! Deciding what came back, which may move what the shop bears of the call.

use nameplate_entities::kinds::CallState;
use nameplate_entities::{callback, service_call};
use nameplate_rules::books::events::PartPayer;
use sea_orm::ConnectionTrait;

use crate::base::{Act, Error, ProblemCode, Result, Right};
use crate::callbacks::{self, DecideCallback, Decided};
use crate::{calls, coverage, invoices};

use super::borne;
use super::operations::payer;

/// Confirms, rejects or classes a callback, also otherwise than before. On a completed call that nobody decided the coverage
/// of, what the shop bears by it, or bears no more, is posted today.
///
/// # Errors
/// `Forbidden`; those of `callbacks::decide`; `WrongState` at `decision` for a billed call that would become the shop's;
/// `PeriodClosed` for today, where something is to be posted.
pub async fn decide_callback(act: &Act, command: DecideCallback) -> Result<callback::Model> {
    let staff_id = act.staff_with(Right::DecideCallback)?;
    let tx = act.app.db.write().await?;
    let decided = callbacks::decide(&tx, act, staff_id, &command).await?;
    let call = calls::get_call(&tx, "callbackId", decided.after.call_id).await?;
    if moves_money(&tx, &call, &decided).await? {
        let verb = Right::DecideCallback.mutation();
        borne::settle(&tx, act, (verb, &call)).await?;
    }
    callbacks::outcomes::refresh(&tx, call.appliance_id).await?;
    tx.commit().await?;
    Ok(decided.after)
}

/// Whether a decision makes somebody else bear a completed call. Who pays by a coverage decision pays whatever came back.
async fn moves_money(
    tx: &impl ConnectionTrait,
    call: &service_call::Model,
    decided: &Decided,
) -> Result<bool> {
    let (before, after) = (payer(Some(&decided.before)), payer(Some(&decided.after)));
    if before == after || coverage::standing_of_call(tx, call.id).await?.is_some() {
        return Ok(false);
    }
    if after == PartPayer::Shop && invoices::is_billed(tx, call.id).await? {
        let message = format!(
            "Call {} is billed, and would be the shop's own by this. Credit its invoices first.",
            call.number
        );
        return Err(Error::refused(ProblemCode::WrongState, "decision", message));
    }
    Ok(call.state == CallState::Completed)
}
