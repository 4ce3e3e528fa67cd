//! Working the reserve out for a month and posting it, and undoing the last run.

use chrono::{Datelike, Days, Months, NaiveDate};
use nameplate_entities::{reserve_run, reserve_stratum};
use nameplate_rules::books::{AccountRef, Role, events};
use nameplate_rules::money::Cents;
use nameplate_rules::reserve::RollForward;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait, IntoActiveModel};
use serde::Serialize;

use super::experience::{Figures, Record, worked_out};
use super::store::{self, Span};
use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::books::{self, NewEntry};
use crate::shop;

/// How far back repairs tell what comes back.
const LOOK_BACK: Months = Months::new(36);

/// The month to work out.
#[derive(Clone, Debug, Serialize)]
pub struct RunWarrantyReserve {
    #[serde(skip)]
    pub idempotency_key: String,
    /// Its last day.
    pub through: NaiveDate,
}

/// Works the reserve out for the end of a month and posts it: what callbacks cost since the run before is taken out of the
/// reserve, and the reserve is brought to what open promises are expected to cost.
///
/// The reserve never falls below zero: what was used beyond it is set aside anew, as a change of the estimate.
///
/// # Errors
/// `Forbidden`; `ImpossibleDate` at `through` for a day that ends no month or is not over; `WrongState` for a month that
/// was run, or whose month before was not; `PeriodClosed`.
pub async fn run_warranty_reserve(
    act: &Act,
    order: RunWarrantyReserve,
) -> Result<reserve_run::Model> {
    let staff_id = act.staff_with(Right::RunWarrantyReserve)?;
    let verb = Right::RunWarrantyReserve.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_run(&tx, "", id).await;
    }
    let settings = shop::settings(&tx).await?;
    let month = month(order.through, settings.day_of(act.at))?;
    books::check_open(&tx, "through", month.through).await?;
    let last = store::last_run(&tx).await?;
    comes_next(last.as_ref(), month.through)?;
    let figures = figures(&tx, month).await?;
    let (table, expense) = table(&tx, month, (last.as_ref(), &figures)).await?;
    let entry = events::reserve_moved(Cents(-table.used.0), expense)
        .map_err(|refusal| Error::caused("entry of the warranty reserve", refusal))?;
    let run = reserve_run::ActiveModel {
        through_on: Set(month.through),
        opening_cents: Set(table.opening.0),
        used_cents: Set(table.used.0),
        new_cents: Set(table.for_new.0),
        earlier_cents: Set(table.for_earlier.0),
        closing_cents: Set(table.closing.0),
        entry_id: Set(None),
        promise_days: Set(settings.row.labour_warranty_days),
        run_at: Set(act.at),
        run_by: Set(staff_id),
        standing_on: Set(Some(month.through)),
        ..Default::default()
    };
    let mut run = run.insert(&tx).await?;
    if let Some(entry) = entry {
        let new = NewEntry {
            on: month.through,
            memo: format!("Warranty reserve through {}", month.through),
            document: Some(subject(run.id)),
            entry,
        };
        let entry = books::post(&tx, act, new).await?;
        let mut row = run.into_active_model();
        row.entry_id = Set(Some(entry.id));
        run = row.update(&tx).await?;
    }
    let strata = write_strata(&tx, run.id, &figures).await?;
    audit::created(&tx, act, verb, subject(run.id), &(&run, strata)).await?;
    once.keep(&tx, act, &run.id).await?;
    tx.commit().await?;
    Ok(run)
}

/// The month that ends on this day, if it is over.
fn month(through: NaiveDate, today: NaiveDate) -> Result<Span> {
    let mut checks = Checks::new();
    let next = through.succ_opt().filter(|day| day.day() == 1);
    if next.is_none() {
        let message = format!("{through} is no last day of a month; write it like 2026-10-31.");
        checks.refuse(ProblemCode::ImpossibleDate, "through", message);
    } else if through >= today {
        let message = format!("The month is not over; today is {today}.");
        checks.refuse(ProblemCode::ImpossibleDate, "through", message);
    }
    checks.near("through", through, today);
    checks.finish()?;
    let from = through.with_day(1).unwrap_or(through);
    Ok(Span { from, through })
}

/// Months are run in order, and none is left out.
fn comes_next(last: Option<&reserve_run::Model>, through: NaiveDate) -> Result<()> {
    let Some(last) = last else { return Ok(()) };
    let next = end_of_month_after(last.through_on);
    let message = if through <= last.through_on {
        format!(
            "The reserve is worked out through {} already.",
            last.through_on
        )
    } else if next != Some(through) {
        let next = next.unwrap_or(last.through_on);
        format!("The month that ends on {next} comes first.")
    } else {
        return Ok(());
    };
    Err(Error::refused(ProblemCode::WrongState, "through", message))
}

/// The last day of the month that begins on the day after this one.
fn end_of_month_after(last_day: NaiveDate) -> Option<NaiveDate> {
    let first = last_day.succ_opt()?;
    first.checked_add_months(Months::new(1))?.pred_opt()
}

/// What the repairs on record make the open ones cost.
async fn figures(tx: &impl ConnectionTrait, month: Span) -> Result<Vec<Figures>> {
    let from = month.through.checked_sub_months(LOOK_BACK);
    let back = Span {
        from: from.unwrap_or(month.from),
        through: month.through,
    };
    let callbacks = books::account_id(tx, &AccountRef::Role(Role::CallbackCost)).await?;
    let record = Record {
        promised: store::promised(tx, back).await?,
        called_back: store::called_back(tx, back).await?,
        repeated: store::repeated(tx, back).await?,
        costs: store::costs(tx, (callbacks, back)).await?,
    };
    worked_out(&record, month).map_err(|refusal| Error::caused("warranty reserve", refusal))
}

/// The table of the month, and the expense that brings the account to its end.
///
/// That expense is what the table says of new and earlier promises, unless somebody posted to the account by hand before
/// runs kept it: then the table counts the difference to earlier promises, and the account still closes as the table does.
async fn table(
    tx: &impl ConnectionTrait,
    month: Span,
    (last, figures): (Option<&reserve_run::Model>, &[Figures]),
) -> Result<(RollForward, Cents)> {
    let too_large = |refusal| Error::caused("table of the warranty reserve", refusal);
    let reserve = books::account_id(tx, &AccountRef::Role(Role::WarrantyReserve)).await?;
    let held_before = async |day: NaiveDate| -> Result<Cents> {
        let debits = books::balance_before(tx, reserve, day).await?;
        Cents(debits)
            .checked_neg()
            .ok_or_else(|| Error::internal("the warranty reserve is too large"))
    };
    let opening = match last {
        Some(last) => Cents(last.closing_cents),
        None => held_before(month.from).await?,
    };
    let used = used(tx, month).await?;
    let sum = |amounts: &mut dyn Iterator<Item = Cents>| {
        Cents::sum(amounts).map_err(|refusal| Error::caused("warranty reserve", refusal))
    };
    let closing = sum(&mut figures.iter().map(|stratum| stratum.amount))?;
    let for_new = sum(&mut figures.iter().map(|stratum| stratum.new_amount))?;
    let used_up = used
        .checked_neg()
        .ok_or_else(|| Error::internal("what callbacks cost is too large"))?;
    let table = RollForward::of(opening, used_up, for_new, closing).map_err(too_large)?;
    let held = held_before(month.through + Days::new(1)).await?;
    let expense = closing
        .checked_sub(held)
        .and_then(|missing| missing.checked_add(used))
        .ok_or_else(|| Error::internal("the warranty reserve is too large"))?;
    Ok((table, expense))
}

/// What callbacks cost since runs began, less what runs took out of that: so a cost that is posted late, into a month that
/// was run, is used in the next. Nothing while parts that came back make it fall below zero; the next month counts that.
async fn used(tx: &impl ConnectionTrait, month: Span) -> Result<Cents> {
    let first = store::first_run(tx).await?;
    let from = first.and_then(|run| run.through_on.with_day(1));
    let since = Span {
        from: from.unwrap_or(month.from),
        through: month.through,
    };
    let callbacks = books::account_id(tx, &AccountRef::Role(Role::CallbackCost)).await?;
    let cents = store::expense_of(tx, (callbacks, since)).await?;
    Ok(Cents(cents).max(Cents::ZERO))
}

async fn write_strata(
    tx: &impl ConnectionTrait,
    run_id: i64,
    figures: &[Figures],
) -> Result<Vec<reserve_stratum::Model>> {
    let count = |count: usize| {
        i32::try_from(count).map_err(|_| Error::internal("more repairs than can be counted"))
    };
    let rows = (figures.iter())
        .map(|stratum| {
            Ok(reserve_stratum::ActiveModel {
                run_id: Set(run_id),
                appliance_type_id: Set(stratum.appliance_type_id),
                component_id: Set(stratum.component_id),
                repairs: Set(count(stratum.repairs)?),
                returns: Set(count(stratum.returns)?),
                open_repairs: Set(count(stratum.open_repairs)?),
                expected_returns: Set(stratum.expected_returns.round_dp(10).normalize().into()),
                mean_cost: Set(rust_decimal::Decimal::from(stratum.mean_cost.0).into()),
                cents: Set(stratum.amount.0),
                new_repairs: Set(count(stratum.new_repairs)?),
                new_cents: Set(stratum.new_amount.0),
                ..Default::default()
            })
        })
        .collect::<Result<Vec<_>>>()?;
    if rows.is_empty() {
        return Ok(Vec::new());
    }
    Ok(reserve_stratum::Entity::insert_many(rows)
        .exec_with_returning(tx)
        .await?)
}

/// A run to undo.
#[derive(Clone, Debug, Serialize)]
pub struct UndoWarrantyReserve {
    #[serde(skip)]
    pub idempotency_key: String,
    pub run_id: i64,
    pub reason: String,
}

/// Undoes the last run: its entry is reversed on its own day, and the month can be run again.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one that is undone, or is not the last; `PeriodClosed`.
pub async fn undo_warranty_reserve(
    act: &Act,
    order: UndoWarrantyReserve,
) -> Result<reserve_run::Model> {
    let staff_id = act.staff_with(Right::UndoWarrantyReserve)?;
    let verb = Right::UndoWarrantyReserve.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_run(&tx, "", id).await;
    }
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.finish()?;
    let before = store::get_run(&tx, "runId", order.run_id).await?;
    let last = store::last_run(&tx).await?;
    if last.is_none_or(|last| last.id != before.id) {
        let message = "Only the last run that stands is undone; undo those after it first.";
        return Err(Error::refused(ProblemCode::WrongState, "runId", message));
    }
    books::check_open(&tx, "runId", before.through_on).await?;
    if let Some(entry_id) = before.entry_id {
        let entry = books::get_entry(&tx, "runId", entry_id).await?;
        let memo = format!("{}, undone: {reason}", entry.memo);
        let memo = memo.chars().take(LINE_MAX).collect();
        books::reverse(&tx, act, ("runId", &entry), (before.through_on, memo)).await?;
    }
    let mut row = before.clone().into_active_model();
    row.standing_on = Set(None);
    row.undone_at = Set(Some(act.at));
    row.undone_by = Set(Some(staff_id));
    row.undone_because = Set(Some(reason));
    let after = row.update(&tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    once.keep(&tx, act, &after.id).await?;
    tx.commit().await?;
    Ok(after)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "reserve_run",
        id,
    }
}
