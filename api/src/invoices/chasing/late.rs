//! Late charges: each an invoice of its own about one that is overdue, once for each month begun.
//!
//! Somebody of the shop asks for each round of them, unless its terms have them made once a day without asking; by itself
//! the program makes none. What is disputed is never charged, and no charge is made on a charge.

use chrono::NaiveDate;
use nameplate_entities::{invoice, receivable, receivable_terms};
use nameplate_rules::invoice::late::{LateCharge, first_charge_on, late_charge, next_month_on};
use nameplate_rules::money::Cents;
use nameplate_rules::percent::Percent;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::{Act, Error, ProblemCode, Result, Right, idempotency, wording};
use crate::invoices::dated::{self, Dated};
use crate::invoices::issuing::charges::{self, Charge};
use crate::invoices::store;
use crate::shop::{self, Settings};

use super::terms;

/// Most charges of one request; what is left over is charged with the next.
const CHARGES_MAX: u64 = 50;
/// Most transactions of one hourly round; what is left over is charged with the next.
const ROUND_MAX: u32 = 100;

/// A request to charge what is overdue.
#[derive(Clone, Debug, Serialize)]
pub struct ChargeLateInvoices {
    #[serde(skip)]
    pub idempotency_key: String,
    /// Only this customer's.
    pub customer_id: Option<i64>,
}

/// Bills the late charges that are due today, or were on a day told, at most 50, the longest overdue first.
///
/// # Errors
/// `Forbidden`; `SettingMissing` when the shop's terms have no late charge; `ImpossibleDate` for a day to come;
/// `PeriodClosed`.
pub async fn charge_late_invoices(
    act: &Act,
    dated: impl Into<Dated<ChargeLateInvoices>>,
) -> Result<Vec<invoice::Model>> {
    let staff_id = act.staff_with(Right::ChargeLateInvoices)?;
    let verb = Right::ChargeLateInvoices.mutation();
    let dated = dated.into();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &dated.order.idempotency_key, &dated).await?;
    if let Some(ids) = once.receipt::<Vec<i64>>()? {
        return store::invoices_by_id(&tx, ids).await;
    }
    let terms = terms::terms(&tx).await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let on = dated::day(&tx, ("chargedOn", dated.on, today), None).await?;
    let about = (dated.order.customer_id, on, (verb, staff_id));
    let (charged, _) = charge_due(&tx, act, &terms, about).await?;
    let ids: Vec<i64> = charged.iter().map(|row| row.id).collect();
    once.keep(&tx, act, &ids).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(charged)
}

/// Bills the late charges that are due, where the shop's terms say that they are made by themselves; gives how many. Runs
/// every hour: what was charged or looked at today is not due again before a month is over.
///
/// The invoices name who set the terms so; the audit log names the program.
///
/// # Errors
/// `PeriodClosed`; internal.
pub async fn charge_what_is_late(act: &Act) -> Result<usize> {
    let mut count = 0;
    for _ in 0..ROUND_MAX {
        let tx = act.app.db.write().await?;
        let terms = terms::terms(&tx).await?;
        let has_charge = terms.late_charge_percent.is_some() || terms.late_charge_cents > 0;
        let Some(staff_id) = terms.late_charges_set_by.filter(|_| has_charge) else {
            return Ok(count);
        };
        let today = shop::settings(&tx).await?.day_of(act.at);
        let by = (Right::ChargeLateInvoices.mutation(), staff_id);
        let about = (None, today, by);
        let (charged, looked_at) = charge_due(&tx, act, &terms, about).await?;
        if looked_at == 0 {
            return Ok(count);
        }
        count += charged.len();
        tx.commit().await?;
        act.app.mail_bell.notify_one();
    }
    Ok(count)
}

/// Charges what is due on a day, at most so many; gives the charges, and how many invoices were looked at.
async fn charge_due(
    tx: &impl ConnectionTrait,
    act: &Act,
    terms: &receivable_terms::Model,
    (customer_id, today, by): (Option<i64>, NaiveDate, (&'static str, i64)),
) -> Result<(Vec<invoice::Model>, usize)> {
    let settings = shop::settings(tx).await?;
    let charge = charge_of(terms)?;
    let grace = u64::try_from(terms.late_charge_grace_days)
        .map_err(|error| Error::caused("days of grace", error))?;
    let about = (customer_id, today, CHARGES_MAX);
    let (mut charged, mut looked_at) = (Vec::new(), 0);
    for owed in store::overdue(tx, about, grace).await? {
        if first_charge_on(owed.due_on, grace).is_none_or(|first| first > today) {
            continue;
        }
        looked_at += 1;
        charged.extend(charge_one(tx, act, (&settings, by), (&owed, charge, today)).await?);
    }
    Ok((charged, looked_at))
}

fn charge_of(terms: &receivable_terms::Model) -> Result<LateCharge> {
    if let Some(percent) = terms.late_charge_percent {
        let percent = Percent::new(percent.0);
        return percent
            .map(LateCharge::Percent)
            .map_err(|refusal| Error::caused("late charge", refusal));
    }
    if terms.late_charge_cents == 0 {
        let message = "The shop has no late charge. Set one first, as far as local law allows it.";
        return Err(Error::refused(ProblemCode::SettingMissing, "", message));
    }
    Ok(LateCharge::Amount(Cents(terms.late_charge_cents)))
}

/// Charges one invoice, unless the charge comes to nothing, and notes from when on the next is due.
async fn charge_one(
    tx: &impl ConnectionTrait,
    act: &Act,
    (settings, by): (&Settings, (&'static str, i64)),
    (owed, charge, today): (&receivable::Model, LateCharge, NaiveDate),
) -> Result<Option<invoice::Model>> {
    let invoice = store::get_invoice(tx, "", owed.invoice_id).await?;
    // What was not open on that day was not late on it.
    if store::open_since(tx, &invoice).await?.0 > today {
        return Ok(None);
    }
    let open = Cents(owed.open_cents);
    let amount =
        late_charge(open, charge).map_err(|refusal| Error::caused("late charge", refusal))?;
    receivable::ActiveModel {
        invoice_id: Set(owed.invoice_id),
        late_charge_next_on: Set(next_month_on(owed.due_on, today)),
        ..Default::default()
    }
    .update(tx)
    .await?;
    if amount == Cents::ZERO {
        return Ok(None);
    }
    let how = match charge {
        LateCharge::Percent(percent) => format!("{percent} % for the month begun"),
        LateCharge::Amount(_) => "for the month begun".to_owned(),
    };
    let charge = Charge {
        description: format!("Late charge, {how}, as far as local law allows it"),
        reason: format!(
            "{} {open} was due on {} and is open.",
            settings.row.currency,
            wording::day(owed.due_on)
        ),
        invoice,
        amount,
        on: today,
    };
    charges::issue(tx, act, settings, by, charge)
        .await
        .map(Some)
}
