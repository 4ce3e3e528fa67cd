//! An advice posted: one payment of the payer, laid row by row, and each claim moves on.

use chrono::NaiveDate;
use nameplate_entities::kinds::PaymentMethod;
use nameplate_entities::{advice_row, payer_advice};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};
use serde::Serialize;

use super::super::store;
use super::settling::Plan;
use super::{check_not_posted, subject};
use crate::base::audit;
use crate::base::{Act, Checks, Error, Result, Right, idempotency};
use crate::invoices::{self, Excess, RecordPayment};
use crate::{books, shop, warranty};

/// An advice to post.
#[derive(Clone, Debug, Serialize)]
pub struct PostAdvice {
    #[serde(skip)]
    pub idempotency_key: String,
    pub advice_id: i64,
    pub received_on: NaiveDate,
    pub method: PaymentMethod,
    /// What the payer or bank wrote on it; the advice's own reference when left out.
    pub reference: Option<String>,
}

/// Records the payment of an advice over all it pays, lays it against the invoices of the claims its rows are matched to,
/// and moves these claims on. What no row lays, as it is too much or its claim is not known yet, is the payer's credit; what
/// waits for its claim is held back for it. An advice that pays nothing makes no payment.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for an advice posted, dropped or undone, or with a row of a claim that was not
/// submitted or is closed; `PeriodClosed`; refusals name the field.
pub async fn post_advice(act: &Act, order: PostAdvice) -> Result<payer_advice::Model> {
    let staff_id = act.staff_with(Right::PostAdvice)?;
    let verb = Right::PostAdvice.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_advice(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    checks.not_after("receivedOn", order.received_on, today);
    checks.near("receivedOn", order.received_on, today);
    checks.finish()?;
    let before = store::get_advice(&tx, "adviceId", order.advice_id).await?;
    check_not_posted("adviceId", &before)?;
    books::check_open(&tx, "receivedOn", order.received_on).await?;
    let rows = store::rows_of(&tx, before.id).await?;
    let (rows, others): (Vec<_>, Vec<_>) =
        (rows.into_iter()).partition(|row| row.claim_id.is_some());
    let plan = Plan::of(&tx, "adviceId", rows).await?;
    let payment_id = pay(&tx, act, (verb, staff_id), (&before, &order, &plan)).await?;
    plan.settle(&tx, act, (verb, order.received_on), &before)
        .await?;
    if let Some(id) = payment_id {
        invoices::hold(&tx, id, waiting(&others)?).await?;
    }
    let mut row = before.clone().into_active_model();
    row.payment_id = Set(payment_id);
    row.posted_at = Set(Some(act.at));
    row.posted_by = Set(Some(staff_id));
    let after = row.update(&tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    once.keep(&tx, act, &after.id).await?;
    tx.commit().await?;
    Ok(after)
}

/// Cents of rows whose claim is not known yet.
fn waiting(rows: &[advice_row::Model]) -> Result<i64> {
    let waiting = rows.iter().filter(|row| row.set_aside_because.is_none());
    let sum = Cents::sum(waiting.map(|row| Cents(row.paid_cents)));
    let sum = sum.map_err(|refusal| Error::caused("rows of an advice", refusal))?;
    Ok(sum.0)
}

/// The payment; none of nothing.
async fn pay(
    tx: &impl ConnectionTrait,
    act: &Act,
    by: (&'static str, i64),
    (advice, order, plan): (&payer_advice::Model, &PostAdvice, &Plan),
) -> Result<Option<i64>> {
    let amount = Cents(advice.total_cents);
    if amount == Cents::ZERO {
        return Ok(None);
    }
    let payer = warranty::get_payer(tx, "adviceId", advice.payer_id).await?;
    let reference = (order.reference.clone()).unwrap_or_else(|| advice.reference.clone());
    let payment = RecordPayment {
        idempotency_key: String::new(),
        customer_id: payer.customer_id,
        method: order.method,
        reference: Some(reference),
        received_on: order.received_on,
        amount,
        parts: Some(plan.parts()?),
        excess: Excess::BecomesCredit,
    };
    let row = invoices::take_in(tx, act, by, &payment).await?;
    Ok(Some(row.id))
}
