//! Receipts that entries by hand took to a bank, in a shop that is older than deposits: they are marked as banked, and
//! nothing is posted, as those entries stand.

use std::collections::HashSet;

use chrono::NaiveDate;
use nameplate_entities::{account, payment};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use sea_orm::{ColumnTrait, Condition, ConnectionTrait};
use serde::Serialize;

use super::super::store::deposits as store;
use super::deposits::{PAYMENTS_MAX, check_since, check_waits};
use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::invoices::{self, AtBank};
use crate::{books, shop};

/// Which payments were taken there.
#[derive(Clone, Debug, Serialize)]
pub enum BankedBefore {
    /// These.
    Payments(Vec<i64>),
    /// All that wait and were received through this day.
    ReceivedThrough(NaiveDate),
}

/// Receipts that entries by hand took to a bank.
#[derive(Clone, Debug, Serialize)]
pub struct MarkBankedBefore {
    #[serde(skip)]
    pub idempotency_key: String,
    /// The account they went to; the usual one when left out.
    pub account_id: Option<i64>,
    /// The day of the entry, or the last of several.
    pub banked_on: NaiveDate,
    pub which: BankedBefore,
}

/// What was marked, for the audit log.
#[derive(Serialize)]
struct Marked<'a> {
    order: &'a MarkBankedBefore,
    number: i64,
    amount_cents: i64,
}

/// What entries by hand took to a bank of receipts that seem to wait still: what waits, less what the account holds.
///
/// # Errors
/// Internal only.
pub async fn banked_by_hand(db: &impl ConnectionTrait) -> Result<Cents> {
    let waiting = store::waiting_sum(db, Condition::all()).await?;
    let held = books::balance_of_role(db, Role::UndepositedReceipts).await?;
    let taken = Cents(waiting.amount_cents)
        .checked_sub(Cents(held))
        .ok_or_else(|| Error::internal("what waits is too large"))?;
    Ok(taken.max(Cents::ZERO))
}

/// Marks receipts as taken to a bank by entries by hand, as far as these reach; gives how many.
///
/// # Errors
/// `Forbidden`; `NotFound` for account or payment; `WrongState` for an account that is no bank's, or a payment that is
/// banked or undone; `ImpossibleDate` for a day to come, or before a payment was received; `TooMuch` for more than entries
/// by hand took; refusals name the field.
pub async fn mark_banked_before(act: &Act, order: MarkBankedBefore) -> Result<i64> {
    act.staff_with(Right::MarkBankedBefore)?;
    let verb = Right::MarkBankedBefore.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(number) = once.receipt::<i64>()? {
        return Ok(number);
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    checks.not_after("bankedOn", order.banked_on, today);
    checks.near("bankedOn", order.banked_on, today);
    checks.finish()?;
    let bank = books::bank_account(&tx, "bankAccountId", order.account_id).await?;
    let (path, which) = match &order.which {
        BankedBefore::Payments(ids) => {
            check_named(&tx, ids, order.banked_on).await?;
            let named = payment::Column::Id.is_in(ids.iter().copied());
            ("paymentIds", Condition::all().add(named))
        }
        BankedBefore::ReceivedThrough(day) => {
            let which = received_through(*day, order.banked_on)?;
            ("receivedThrough", which)
        }
    };
    let sum = store::waiting_sum(&tx, which.clone()).await?;
    let (amount, taken) = (Cents(sum.amount_cents), banked_by_hand(&tx).await?);
    if amount > taken {
        let message = format!(
            "These come to {amount}, and entries by hand took only {taken} of what waits to a bank."
        );
        return Err(Error::refused(ProblemCode::TooMuch, path, message));
    }
    let place = AtBank {
        account_id: bank.id,
        on: order.banked_on,
    };
    let waits = which
        .add(payment::Column::BankAccountId.is_null())
        .add(payment::Column::ReversedOn.is_null());
    invoices::mark_banked_before(&tx, waits, (place, act.at)).await?;
    let marked = Marked {
        order: &order,
        number: sum.number,
        amount_cents: sum.amount_cents,
    };
    audit::created(&tx, act, verb, subject(&bank), &marked).await?;
    once.keep(&tx, act, &sum.number).await?;
    tx.commit().await?;
    Ok(sum.number)
}

fn subject(bank: &account::Model) -> Subject {
    Subject {
        kind: "account",
        id: bank.id,
    }
}

fn received_through(day: NaiveDate, banked_on: NaiveDate) -> Result<Condition> {
    if day > banked_on {
        let message = format!("What was received through {day} was not all there on {banked_on}.");
        return Err(Error::refused(
            ProblemCode::ImpossibleDate,
            "receivedThrough",
            message,
        ));
    }
    let again = payment::Column::WaitsAgainFrom;
    let was_there = Condition::any()
        .add(again.is_null())
        .add(again.lte(banked_on));
    Ok(Condition::all()
        .add(payment::Column::ReceivedOn.lte(day))
        .add(was_there))
}

/// Holds the payments named one by one against what can be marked.
async fn check_named(tx: &impl ConnectionTrait, ids: &[i64], banked_on: NaiveDate) -> Result<()> {
    let mut checks = Checks::new();
    if ids.is_empty() || ids.len() > PAYMENTS_MAX {
        let message = format!("Name 1 to {PAYMENTS_MAX} payments, or a day (receivedThrough).");
        checks.refuse(ProblemCode::OutOfRange, "paymentIds", message);
    }
    checks.finish()?;
    let found = store::payments(tx, ids.iter().copied()).await?;
    let mut checks = Checks::new();
    let mut named = HashSet::new();
    for (at, id) in ids.iter().enumerate() {
        let path = format!("paymentIds.{at}");
        if !named.insert(*id) {
            checks.refuse(
                ProblemCode::Malformed,
                &path,
                "This payment is named twice.",
            );
        }
        let Some(row) = found.iter().find(|row| row.id == *id) else {
            let message = "There is no such payment. Look it up again and use its id.";
            checks.refuse(ProblemCode::NotFound, &path, message);
            continue;
        };
        check_waits(&mut checks, &path, row);
        check_since(&mut checks, "bankedOn", (row, banked_on));
    }
    checks.finish()
}

/// Marks to take off.
#[derive(Clone, Debug, Serialize)]
pub struct UnmarkBankedBefore {
    pub payment_ids: Vec<i64>,
    pub reason: String,
}

/// Takes the mark off payments that were marked by mistake: they wait again.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a payment that is not marked, or undone; refusals name the field.
pub async fn unmark_banked_before(
    act: &Act,
    order: UnmarkBankedBefore,
) -> Result<Vec<payment::Model>> {
    act.staff_with(Right::UnmarkBankedBefore)?;
    let verb = Right::UnmarkBankedBefore.mutation();
    let ids = &order.payment_ids;
    let mut checks = Checks::new();
    checks.text("reason", &order.reason, LINE_MAX);
    if ids.is_empty() || ids.len() > PAYMENTS_MAX {
        let message = format!("Name 1 to {PAYMENTS_MAX} payments.");
        checks.refuse(ProblemCode::OutOfRange, "paymentIds", message);
    }
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let before = store::payments(&tx, ids.iter().copied()).await?;
    let mut checks = Checks::new();
    for (at, id) in ids.iter().enumerate() {
        let path = format!("paymentIds.{at}");
        match before.iter().find(|row| row.id == *id) {
            None => {
                let message = "There is no such payment. Look it up again and use its id.";
                checks.refuse(ProblemCode::NotFound, &path, message);
            }
            Some(row) if row.reversed_on.is_some() || row.banked_before_at.is_none() => {
                let message = format!("{} is undone, or not marked so.", row.number);
                checks.refuse(ProblemCode::WrongState, &path, message);
            }
            Some(_) => {}
        }
    }
    checks.finish()?;
    invoices::unmark_banked_before(&tx, ids).await?;
    for row in &before {
        let of_payment = Subject {
            kind: "payment",
            id: row.id,
        };
        let both = (Some(row), Some(&order));
        audit::record(&tx, act, verb, of_payment, both).await?;
    }
    let after = store::payments(&tx, ids.iter().copied()).await?;
    tx.commit().await?;
    Ok(after)
}
