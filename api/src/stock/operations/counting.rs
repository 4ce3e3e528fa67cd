//! Counts and adjustments: what really lies at a place, and what became of the rest.
//!
//! A count is held against what the record says of the day it counts for, whatever moved since. What it finds too few leaves
//! at what it cost, what it finds too much is worth what the others are; either goes to stock differences. A count that takes stock over opens it: its value comes out of what the books had before parts were
//! recorded, and what goes beyond that is the owner's.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::{Role as StaffRole, StockMoveKind};
use nameplate_entities::{part, stock_move, stock_place};
use nameplate_rules::books::{AccountRef, Role};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use crate::base::audit;
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::{books, pricing, shop};

use super::super::ledger::{About, In, Ledger, Out, subject};
use super::super::store;
use super::receiving::cost_of;
use super::{moving, parts_of_lines, places, unassigned};

/// How many of one part were counted.
#[derive(Clone, Debug, Serialize)]
pub struct CountLine {
    pub part_id: i64,
    pub quantity: Decimal,
    /// What one of those found too much cost; as the others when left out.
    pub unit_cost: Option<Cents>,
}

/// A count of one place.
#[derive(Clone, Debug, Serialize)]
pub struct CountStock {
    #[serde(skip)]
    pub idempotency_key: String,
    pub place_id: i64,
    /// The day it counts for; today when left out.
    pub counted_on: Option<NaiveDate>,
    /// Whether this takes stock over that was there before it was recorded.
    pub takes_over: bool,
    pub note: Option<String>,
    pub lines: Vec<CountLine>,
}

/// Counts parts at a place, and brings the record up to it. Parts that are not named stay as they are.
///
/// # Errors
/// `Forbidden`, also for a technician beside the own van, or with a cost, and for all but the owner taking over;
/// `NotFound`; `WrongState` for a place out of use, or a part that cannot be taken over; `PeriodClosed`; refusals name the field.
pub async fn count_stock(act: &Act, new: CountStock) -> Result<Vec<stock_move::Model>> {
    act.staff_with(Right::CountStock)?;
    let verb = Right::CountStock.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(ids) = once.receipt::<Vec<i64>>()? {
        let mut rows = Vec::with_capacity(ids.len());
        for id in ids {
            rows.push(store::get_move(&tx, "", id).await?);
        }
        return Ok(rows);
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let on = new.counted_on.unwrap_or(today);
    let note = new.checked((on, today))?;
    let place = places::in_use(&tx, "placeId", new.place_id).await?;
    may_count(act, &new)?;
    moving::may_touch(act, [&place])?;
    books::check_open(&tx, "countedOn", on).await?;
    let ids: Vec<i64> = new.lines.iter().map(|line| line.part_id).collect();
    let parts = parts_of_lines(&tx, &ids).await?;
    let there = store::levels_on(&tx, place.id, &ids, on).await?;
    new.may_take_over(&tx, &there).await?;
    let found = Found::of(&tx, (place.id, on), new.takes_over).await?;
    let ledger = Ledger::open(&tx, act, verb).await?;
    let mut rows = Vec::new();
    for (at, (line, part)) in new.lines.iter().zip(&parts).enumerate() {
        let change = Difference {
            part,
            by: line.quantity - there.get(&part.id).copied().unwrap_or_default(),
            unit_cost: line.unit_cost,
            path: format!("lines.{at}.unitCost"),
            kind: StockMoveKind::Counted,
            reason: note.clone(),
        };
        rows.extend(found.record((&tx, act), &ledger, change).await?);
    }
    for row in &rows {
        audit::created(&tx, act, verb, subject(row.id), row).await?;
    }
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    once.keep(&tx, act, &ids).await?;
    tx.commit().await?;
    Ok(rows)
}

impl CountStock {
    fn checked(&self, (on, today): (NaiveDate, NaiveDate)) -> Result<Option<String>> {
        let mut checks = Checks::new();
        super::some_lines(&mut checks, self.lines.len());
        for (at, line) in self.lines.iter().enumerate() {
            super::pieces_or_none(&mut checks, &format!("lines.{at}.quantity"), line.quantity);
            if let Some(cost) = line.unit_cost {
                checks.not_negative(&format!("lines.{at}.unitCost"), cost);
            }
        }
        checks.not_after("countedOn", on, today);
        checks.near("countedOn", on, today);
        let note = checks.text_if_any("note", self.note.as_deref(), LINE_MAX);
        checks.finish()?;
        Ok(note)
    }

    /// Stock of before is taken over once: what is missing is a loss, and parts that were bought or counted since are
    /// no stock of before. Several places may each be counted once.
    async fn may_take_over(
        &self,
        tx: &impl ConnectionTrait,
        levels: &HashMap<i64, Decimal>,
    ) -> Result<()> {
        if !self.takes_over {
            return Ok(());
        }
        let equity = books::account_id(tx, &AccountRef::Role(Role::OwnersEquity)).await?;
        let ids = self.lines.iter().map(|line| line.part_id);
        let known = store::bought_or_counted(tx, (self.place_id, equity), ids).await?;
        let mut checks = Checks::new();
        for (at, line) in self.lines.iter().enumerate() {
            let there = levels.get(&line.part_id).copied().unwrap_or_default();
            if line.quantity < there {
                let message =
                    "Fewer than the record has are a loss: count them without taking over.";
                let path = format!("lines.{at}.quantity");
                checks.refuse(ProblemCode::WrongState, &path, message);
            } else if line.quantity > there && known.contains(&line.part_id) {
                let message =
                    "This part was bought or counted before: count it without taking over.";
                let path = format!("lines.{at}.partId");
                checks.refuse(ProblemCode::WrongState, &path, message);
            }
        }
        checks.finish()
    }
}

/// What parts cost is not a technician's to say; what the owner brought in is the owner's.
fn may_count(act: &Act, new: &CountStock) -> Result<()> {
    let (_, role) = act.staff()?;
    let says_cost = new.lines.iter().any(|line| line.unit_cost.is_some());
    let is_refused = match role {
        StaffRole::Owner => false,
        StaffRole::Technician => new.takes_over || says_cost,
        StaffRole::Office => new.takes_over,
    };
    if is_refused {
        return Err(Error::Forbidden);
    }
    Ok(())
}

/// Pieces of one part that are there or gone without a document.
struct Difference<'a> {
    part: &'a part::Model,
    by: Decimal,
    unit_cost: Option<Cents>,
    path: String,
    kind: StockMoveKind,
    reason: Option<String>,
}

/// Where and when differences were found, and the account on their other side.
struct Found {
    place_id: i64,
    on: NaiveDate,
    takes_over: bool,
    against: AccountRef,
    account_id: i64,
}

impl Found {
    async fn of(
        tx: &impl ConnectionTrait,
        (place_id, on): (i64, NaiveDate),
        takes_over: bool,
    ) -> Result<Self> {
        let against = AccountRef::Role(if takes_over {
            Role::OwnersEquity
        } else {
            Role::StockDifferences
        });
        Ok(Self {
            place_id,
            on,
            takes_over,
            account_id: books::account_id(tx, &against).await?,
            against,
        })
    }

    /// Writes and posts a difference; nothing where record and count agree.
    async fn record<C: ConnectionTrait>(
        &self,
        (tx, act): (&C, &Act),
        ledger: &Ledger<'_, C>,
        found: Difference<'_>,
    ) -> Result<Option<stock_move::Model>> {
        if found.by == Decimal::ZERO {
            return Ok(None);
        }
        let part = found.part;
        let about = About {
            account_id: Some(self.account_id),
            reason: found.reason,
            ..About::default()
        };
        let row = if found.by > Decimal::ZERO {
            let cost = match found.unit_cost {
                Some(each) => cost_of(&found.path, each, found.by)?,
                None => ledger.worth_of(part, found.by).await?,
            };
            let new = In {
                part,
                place_id: self.place_id,
                quantity: found.by,
                cost,
                kind: found.kind,
                on: self.on,
                about,
            };
            ledger.come_in(new).await?
        } else {
            let new = Out {
                part,
                place_id: self.place_id,
                quantity: -found.by,
                assumed: Cents(part.cost_cents),
                kind: found.kind,
                on: self.on,
                about,
            };
            ledger.go_out(new).await?
        };
        let memo = match found.kind {
            StockMoveKind::Adjusted => format!("{} adjusted", part.number),
            _ if self.takes_over => format!("{} taken over", part.number),
            _ => format!("{} counted", part.number),
        };
        let entry = (memo, self.against.clone());
        if self.takes_over {
            unassigned::assign(tx, act, &row, entry).await?;
        } else {
            ledger.post(&row, entry).await?;
        }
        Ok(Some(row))
    }
}

/// Pieces that are gone, or there, for a reason.
#[derive(Clone, Debug, Serialize)]
pub struct AdjustStock {
    #[serde(skip)]
    pub idempotency_key: String,
    pub part_id: i64,
    pub place_id: i64,
    /// Below zero for pieces that are gone.
    pub change: Decimal,
    /// What one of those that are there cost; as the others when left out.
    pub unit_cost: Option<Cents>,
    pub reason: String,
    /// Today when left out.
    pub adjusted_on: Option<NaiveDate>,
}

/// Adjusts a quantity for a reason, such as damage.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a place out of use; `OutOfRange` for more than lie there; `PeriodClosed`;
/// refusals name the field.
pub async fn adjust_stock(act: &Act, new: AdjustStock) -> Result<stock_move::Model> {
    act.staff_with(Right::AdjustStock)?;
    let verb = Right::AdjustStock.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_move(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let on = new.adjusted_on.unwrap_or(today);
    let mut checks = Checks::new();
    super::some_change(&mut checks, "change", new.change);
    if let Some(cost) = new.unit_cost {
        checks.not_negative("unitCost", cost);
    }
    let reason = checks.text("reason", &new.reason, LINE_MAX);
    checks.not_after("adjustedOn", on, today);
    checks.near("adjustedOn", on, today);
    checks.finish()?;
    let part = pricing::get_part(&tx, "partId", new.part_id).await?;
    let place = places::in_use(&tx, "placeId", new.place_id).await?;
    new.leaves_none_below_zero(&tx, &place).await?;
    books::check_open(&tx, "adjustedOn", on).await?;
    let change = Difference {
        part: &part,
        by: new.change,
        unit_cost: new.unit_cost,
        path: "unitCost".to_owned(),
        kind: StockMoveKind::Adjusted,
        reason: Some(reason),
    };
    let found = Found::of(&tx, (place.id, on), false).await?;
    let ledger = Ledger::open(&tx, act, verb).await?;
    let row = found.record((&tx, act), &ledger, change).await?;
    let row = row.ok_or_else(|| Error::internal("an adjustment by nothing"))?;
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

impl AdjustStock {
    /// What is gone lay there.
    async fn leaves_none_below_zero(
        &self,
        tx: &impl ConnectionTrait,
        place: &stock_place::Model,
    ) -> Result<()> {
        if self.change >= Decimal::ZERO {
            return Ok(());
        }
        let levels = store::levels_at(tx, place.id, [self.part_id]).await?;
        let there = levels.first();
        let there = there.map_or(Decimal::ZERO, |level| level.quantity.0);
        if self.change.abs() <= there {
            return Ok(());
        }
        let message = format!(
            "Only {there} lie at {}. Count them if there are more.",
            place.name
        );
        Err(Error::refused(ProblemCode::OutOfRange, "change", message))
    }
}
