//! Deposits: money taken for a call before it is billed. The call's invoice to whoever paid it takes it first.

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallState, PaymentMethod};
use nameplate_entities::payment;
use nameplate_rules::books::events;
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use crate::base::audit;
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::invoices::store;
use crate::{books, calls, customers, estimates, shop};

use super::{Received, settling, subject};

/// Money received for a call before it is billed.
#[derive(Clone, Debug, Serialize)]
pub struct RecordDeposit {
    #[serde(skip)]
    pub idempotency_key: String,
    pub call_id: i64,
    /// Who paid it, if not the call's customer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub customer_id: Option<i64>,
    pub method: PaymentMethod,
    pub reference: Option<String>,
    pub received_on: NaiveDate,
    pub amount: Cents,
}

/// Records a deposit for a call whose estimate was accepted.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a call that is cancelled, has no accepted estimate or is billed; `TooMuch`
/// for more than was accepted; `ImpossibleDate`, also for a day before the call was opened; `PeriodClosed`; refusals name
/// the field.
pub async fn record_deposit(act: &Act, new: RecordDeposit) -> Result<payment::Model> {
    let staff_id = act.staff_with(Right::RecordDeposit)?;
    let verb = Right::RecordDeposit.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_payment(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    checks.positive("amount", new.amount);
    checks.not_after("receivedOn", new.received_on, today);
    checks.near("receivedOn", new.received_on, today);
    let reference = checks.text_if_any("reference", new.reference.as_deref(), LINE_MAX);
    checks.finish()?;
    let customer_id = payer(&tx, &new).await?;
    books::check_open(&tx, "receivedOn", new.received_on).await?;
    let customer = customers::get_customer(&tx, "customerId", customer_id).await?;
    let received = Received {
        staff_id,
        method: new.method,
        reference,
        on: new.received_on,
        amount: new.amount,
        deposit_call_id: Some(new.call_id),
    };
    let row = received.write(&tx, act, &customer).await?;
    let memo = format!("Deposit {}", row.number);
    let about = (subject(row.id), row.received_on, memo);
    settling::post(&tx, act, about, events::deposit_taken(new.amount)).await?;
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// Who pays this deposit: the call's customer, or another payer of it. Its invoice for the call takes it.
async fn payer(tx: &impl ConnectionTrait, new: &RecordDeposit) -> Result<i64> {
    let refused = |message: String| Error::refused(ProblemCode::WrongState, "callId", message);
    let call = calls::get_call(tx, "callId", new.call_id).await?;
    if call.state == CallState::Cancelled {
        return Err(refused(format!("Call {} was cancelled.", call.number)));
    }
    if new.received_on < call.opened_on {
        let message = format!(
            "Call {} was opened on {}; a deposit for it comes later. Record other money as a payment.",
            call.number, call.opened_on
        );
        let path = "receivedOn";
        return Err(Error::refused(ProblemCode::ImpossibleDate, path, message));
    }
    let Some(accepted) = estimates::accepted_for_call(tx, call.id).await? else {
        return Err(refused(format!(
            "Call {} has no accepted estimate, so no deposit is agreed.",
            call.number
        )));
    };
    if store::is_billed(tx, call.id).await? {
        return Err(refused(format!(
            "Call {} is billed; record a payment instead.",
            call.number
        )));
    }
    let taken = Cents(store::deposits_for(tx, call.id).await?);
    let total = Cents(accepted.option.total_cents);
    if settling::sum([taken, new.amount])? > total {
        return Err(Error::refused(
            ProblemCode::TooMuch,
            "amount",
            format!("{total} was accepted, and deposits of {taken} are there already."),
        ));
    }
    Ok(new.customer_id.unwrap_or(call.customer_id))
}
