//! Closing days and years, and opening them again with a reason.

use chrono::{Datelike, Months, NaiveDate};
use nameplate_entities::kinds::PeriodEventKind;
use nameplate_entities::{journal_entry, period_event, shop as shop_row};
use nameplate_rules::books::statements::{self, TrialBalance};
use nameplate_rules::books::{AccountRef, Entry, Role};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::shop;

use super::super::posting::{self, role_of};
use super::super::store;
use super::super::store::balances::{Days, balances};
use super::super::store::periods;

/// Closes the books through a day: nothing posts on or before it.
///
/// # Errors
/// `Forbidden`; `ImpossibleDate` for a day to come; `WrongState` for one that is closed already.
pub async fn close_books(act: &Act, through: NaiveDate) -> Result<shop_row::Model> {
    let staff_id = act.staff_with(Right::CloseBooks)?;
    let tx = act.app.db.write().await?;
    let settings = shop::settings(&tx).await?;
    let mut checks = Checks::new();
    if through >= settings.day_of(act.at) {
        let message = "Close only days that are over; today still takes payments.";
        checks.refuse(ProblemCode::ImpossibleDate, "through", message);
    }
    checks.finish()?;
    let before = settings.row;
    if let Some(closed) = before.books_closed_through
        && through <= closed
    {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "through",
            format!("The books are closed through {closed} already."),
        ));
    }
    let event = Event {
        kind: PeriodEventKind::BooksClosed,
        year: None,
        entry_id: None,
        reason: None,
    };
    let moved = Moved {
        right: Right::CloseBooks,
        staff_id,
        before,
        through: Some(through),
    };
    let after = moved.write(&tx, act, vec![event]).await?;
    tx.commit().await?;
    Ok(after)
}

/// Through which day the books stay closed, and why the days after it are opened again.
#[derive(Clone, Debug, Serialize)]
pub struct ReopenBooks {
    #[serde(skip)]
    pub idempotency_key: String,
    /// None opens everything.
    pub closed_through: Option<NaiveDate>,
    pub reason: String,
}

/// Opens closed days again, with a reason. Years that were closed on one of them are opened too, each by the entry that
/// undoes its closing.
///
/// # Errors
/// `Forbidden`; `WrongState` when nothing after that day is closed, or a retired account stands in the way; refusals
/// name the field.
pub async fn reopen_books(act: &Act, order: ReopenBooks) -> Result<shop_row::Model> {
    let staff_id = act.staff_with(Right::ReopenBooks)?;
    let verb = Right::ReopenBooks.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if once.receipt::<i64>()?.is_some() {
        return Ok(shop::settings(&tx).await?.row);
    }
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, TEXT_MAX);
    checks.finish()?;
    let before = shop::settings(&tx).await?.row;
    let stays = order.closed_through;
    let is_closed_after = |closed: NaiveDate| stays.is_none_or(|stays| stays < closed);
    if !before.books_closed_through.is_some_and(is_closed_after) {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "closedThrough",
            "Nothing after this day is closed.",
        ));
    }
    let closings = periods::standing_closings_after(&tx, stays).await?;
    let mut events = vec![Event {
        kind: PeriodEventKind::BooksReopened,
        year: None,
        entry_id: None,
        reason: Some(reason.clone()),
    }];
    let moved = Moved {
        right: Right::ReopenBooks,
        staff_id,
        before,
        through: stays,
    };
    // The days are open first, so that the undoing entries may lie on them.
    let opened = moved.move_line(&tx).await?;
    for closing in closings.iter().rev() {
        let memo = format!("{}, undone: {reason}", closing.memo);
        let memo = memo.chars().take(LINE_MAX).collect();
        let undone = posting::reverse(
            &tx,
            act,
            ("closedThrough", closing),
            (closing.entry_on, memo),
        )
        .await?;
        events.push(Event {
            kind: PeriodEventKind::YearReopened,
            year: closing.closes_year,
            entry_id: Some(undone.id),
            reason: Some(reason.clone()),
        });
    }
    moved.record(&tx, act, (&opened, events)).await?;
    once.keep(&tx, act, &opened.id).await?;
    tx.commit().await?;
    Ok(opened)
}

/// Which fiscal year to close, by the calendar year it ends in.
#[derive(Clone, Debug, Serialize)]
pub struct CloseYear {
    #[serde(skip)]
    pub idempotency_key: String,
    pub year: i32,
}

/// Closes a fiscal year: revenue, expense and drawings go to retained earnings by one entry of its last day, and the
/// books are closed through that day. Years before it that were never closed are closed with it.
///
/// # Errors
/// `Forbidden`; `OutOfRange` for a year that is none; `ImpossibleDate` while days of it are to come; `WrongState` when it
/// or a later one is closed, an earlier one is open, or there is nothing to close.
pub async fn close_year(act: &Act, order: CloseYear) -> Result<journal_entry::Model> {
    let staff_id = act.staff_with(Right::CloseYear)?;
    let verb = Right::CloseYear.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_entry(&tx, "", id).await;
    }
    let settings = shop::settings(&tx).await?;
    let year = order.year;
    let last_day = last_day_of(year, settings.row.fiscal_year_end_month).ok_or_else(|| {
        let message = "Name the calendar year that the fiscal year ends in, such as 2026.";
        Error::refused(ProblemCode::OutOfRange, "year", message)
    })?;
    if last_day >= settings.day_of(act.at) {
        return Err(Error::refused(
            ProblemCode::ImpossibleDate,
            "year",
            format!("The year {year} ends on {last_day}; close it when that day is over."),
        ));
    }
    let closed = periods::standing_closings(&tx).await?;
    if let Some(last) = closed.last().filter(|last| last.entry_on >= last_day) {
        let message = format!(
            "The books are closed for the year that ended on {}.",
            last.entry_on
        );
        return Err(Error::refused(ProblemCode::WrongState, "year", message));
    }
    no_earlier_is_open(&tx, last_day).await?;
    let entry = closing_entry(&tx, last_day).await?.ok_or_else(|| {
        let message = format!("There is nothing to close through {last_day}.");
        Error::refused(ProblemCode::WrongState, "year", message)
    })?;
    let memo = format!("Closing of the year that ended on {last_day}");
    let row = posting::post_closing(&tx, act, (year, last_day, memo), entry).await?;
    let event = Event {
        kind: PeriodEventKind::YearClosed,
        year: Some(year),
        entry_id: Some(row.id),
        reason: None,
    };
    let before = settings.row;
    let through = before.books_closed_through.max(Some(last_day));
    let moved = Moved {
        right: Right::CloseYear,
        staff_id,
        before,
        through,
    };
    moved.write(&tx, act, vec![event]).await?;
    let subject = Subject {
        kind: "journal_entry",
        id: row.id,
    };
    audit::created(&tx, act, verb, subject, &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// Refuses to close a year while there is a result of one before it: its closing would hold both.
async fn no_earlier_is_open(tx: &impl ConnectionTrait, last_day: NaiveDate) -> Result<()> {
    let before = last_day
        .checked_sub_months(Months::new(12))
        .map(end_of_month);
    let Some(before) = before else {
        return Ok(());
    };
    match closing_entry(tx, before).await? {
        None => Ok(()),
        Some(_) => Err(Error::refused(
            ProblemCode::WrongState,
            "year",
            format!("The year that ended on {before} is open; close it first."),
        )),
    }
}

/// The last day of a day's month: a year ends on the 28th or 29th of February, whichever it has.
fn end_of_month(day: NaiveDate) -> NaiveDate {
    let first = day
        .with_day(1)
        .and_then(|day| day.checked_add_months(Months::new(1)));
    first.and_then(|day| day.pred_opt()).unwrap_or(day)
}

/// The last day of the fiscal year that ends in this calendar year.
fn last_day_of(year: i32, end_month: i32) -> Option<NaiveDate> {
    // Years a shop can have; the calendar itself reaches much farther.
    let year = Some(year).filter(|year| (1900..=9999).contains(year))?;
    let month = u32::try_from(end_month).ok()?;
    NaiveDate::from_ymd_opt(year, month, 1)?
        .checked_add_months(Months::new(1))?
        .pred_opt()
}

async fn closing_entry(tx: &impl ConnectionTrait, last_day: NaiveDate) -> Result<Option<Entry>> {
    let rows = balances(tx, Days::through(last_day)).await?;
    let amounts = rows.iter().map(|row| {
        let role = row.role.as_deref().and_then(role_of);
        let account = role.map_or_else(|| AccountRef::Code(row.code.clone()), AccountRef::Role);
        (account, row.rules_kind(), Cents(row.balance_cents))
    });
    let too_large = |refusal| Error::caused("closing entry", refusal);
    let trial: TrialBalance<AccountRef> = statements::trial_balance(amounts).map_err(too_large)?;
    statements::closing_entry(&trial, &[AccountRef::Role(Role::OwnersDrawings)]).map_err(too_large)
}

/// One thing that was closed or opened.
struct Event {
    kind: PeriodEventKind,
    year: Option<i32>,
    entry_id: Option<i64>,
    reason: Option<String>,
}

/// The last closed day as it moves.
struct Moved {
    right: Right,
    staff_id: i64,
    before: shop_row::Model,
    through: Option<NaiveDate>,
}

impl Moved {
    async fn write(
        &self,
        tx: &impl ConnectionTrait,
        act: &Act,
        events: Vec<Event>,
    ) -> Result<shop_row::Model> {
        let after = self.move_line(tx).await?;
        self.record(tx, act, (&after, events)).await?;
        Ok(after)
    }

    async fn move_line(&self, tx: &impl ConnectionTrait) -> Result<shop_row::Model> {
        shop::close_books_through(tx, &self.before, self.through).await
    }

    /// Who did what, in the list of periods and in the audit log.
    async fn record(
        &self,
        tx: &impl ConnectionTrait,
        act: &Act,
        (after, events): (&shop_row::Model, Vec<Event>),
    ) -> Result<()> {
        for event in events {
            period_event::ActiveModel {
                kind: Set(event.kind),
                closed_before: Set(self.before.books_closed_through),
                closed_through: Set(self.through),
                year: Set(event.year),
                entry_id: Set(event.entry_id),
                reason: Set(event.reason),
                at: Set(act.at),
                staff_id: Set(self.staff_id),
                ..Default::default()
            }
            .insert(tx)
            .await?;
        }
        let subject = Subject {
            kind: "shop",
            id: after.id,
        };
        let both = (Some(&self.before), Some(after));
        audit::record(tx, act, self.right.mutation(), subject, both).await
    }
}
