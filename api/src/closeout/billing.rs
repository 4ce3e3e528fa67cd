//! Billing a call and taking bills back, with what the shop bears of the call by it.
//!
//! A decision holds two splits, and what the shop bears follows the one that is billed. So a bill of a completed call, and
//! what takes it back, settles that in the same transaction.

use nameplate_entities::invoice;
use nameplate_entities::kinds::CallState;
use sea_orm::ConnectionTrait;

use crate::base::{Act, Result, Right, idempotency};
use crate::coverage;
use crate::invoices::{self, CreditInvoice, Dated, IssueInvoice};
use crate::{calls, claims};

use super::borne;

/// Bills a call, as `invoices::bill_call` does, and settles what the shop bears of it if it is completed.
///
/// # Errors
/// `Forbidden`; `IdempotencyMismatch`; those of `invoices::bill_call`; `PeriodClosed` for today, where what the shop bears
/// is to be posted.
pub async fn issue_invoice(
    act: &Act,
    dated: impl Into<Dated<IssueInvoice>>,
) -> Result<Vec<invoice::Model>> {
    let staff_id = act.staff_with(Right::IssueInvoice)?;
    let verb = Right::IssueInvoice.mutation();
    let dated = dated.into();
    let (key, call_id) = (dated.order.idempotency_key.clone(), dated.order.call_id);
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &key, &dated).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return invoices::issued_with(&tx, id).await;
    }
    // The way to a bill is long; kept on the heap, it does not swell every caller.
    let (first, bills) = Box::pin(invoices::bill_call(&tx, act, (verb, staff_id), dated)).await?;
    settle(&tx, act, (verb, call_id)).await?;
    once.keep(&tx, act, &first).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(bills)
}

/// Takes an invoice back by its mirror image, or a part of it, while no claim stands on it; and settles what the shop bears
/// of its call, which is by the settled split again once no bill of the call stands.
///
/// # Errors
/// `Forbidden`; `IdempotencyMismatch`; those of `claims::give_back`; `PeriodClosed` for today, where what the shop bears is
/// to be posted.
pub async fn credit_invoice(
    act: &Act,
    dated: impl Into<Dated<CreditInvoice>>,
) -> Result<invoice::Model> {
    let staff_id = act.staff_with(Right::CreditInvoice)?;
    let verb = Right::CreditInvoice.mutation();
    let dated = dated.into();
    let key = dated.order.idempotency_key.clone();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &key, &dated).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return invoices::get_invoice(&tx, "", id).await;
    }
    let row = claims::give_back(&tx, act, (verb, staff_id), dated).await?;
    if let Some(call_id) = row.call_id {
        settle(&tx, act, (verb, call_id)).await?;
    }
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(row)
}

/// Nothing where nobody decided on the call, or while it is not completed.
async fn settle(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, call_id): (&'static str, i64),
) -> Result<()> {
    let call = calls::get_call(tx, "callId", call_id).await?;
    if call.state != CallState::Completed {
        return Ok(());
    }
    if coverage::standing_of_call(tx, call_id).await?.is_none() {
        return Ok(());
    }
    borne::settle(tx, act, (verb, &call)).await
}
