//! Refunds undone, once no statement of the bank shows them.

use chrono::NaiveDate;
use nameplate_entities::refund;
use serde::Serialize;

use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::{invoices, shop};

use super::super::store::matches;

/// A refund to undo.
#[derive(Clone, Debug, Serialize)]
pub struct ReverseRefund {
    #[serde(skip)]
    pub idempotency_key: String,
    pub refund_id: i64,
    pub reason: String,
    pub reversed_on: NaiveDate,
}

/// Undoes a refund that was typed wrongly or never cashed: what it paid back is the customer's credit again, and its entry
/// is reversed.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one undone already, or matched to a statement of the bank; `ImpossibleDate`
/// for a day to come or before the refund; `PeriodClosed`; refusals name the field.
pub async fn reverse_refund(act: &Act, order: ReverseRefund) -> Result<refund::Model> {
    act.staff_with(Right::ReverseRefund)?;
    let verb = Right::ReverseRefund.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return invoices::get_refund(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.not_after("reversedOn", order.reversed_on, today);
    checks.finish()?;
    let before = invoices::get_refund(&tx, "refundId", order.refund_id).await?;
    if matches::shows(&tx, ("refund", before.id)).await? {
        let message = format!(
            "{} is matched to a statement of the bank; take the match off first (unmatch).",
            before.number
        );
        return Err(Error::refused(ProblemCode::WrongState, "refundId", message));
    }
    let about = (&before, order.reversed_on, reason);
    let after = invoices::undo_refund(&tx, act, verb, about).await?;
    once.keep(&tx, act, &after.id).await?;
    tx.commit().await?;
    Ok(after)
}
