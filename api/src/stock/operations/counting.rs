//! Counts and adjustments: what really lies at a place, and what became of the rest.
//!
//! What a count finds too few leaves at what it cost, what it finds too much is worth what the others are; either goes to
//! stock differences. A count that takes stock over opens it: its value comes out of what the books had before parts were
//! recorded, and what goes beyond that is the owner's.

use chrono::NaiveDate;
use nameplate_entities::kinds::{Role as StaffRole, StockMoveKind};
use nameplate_entities::{part, stock_level, stock_move};
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
    let levels = store::levels_at(&tx, place.id, ids.iter().copied()).await?;
    new.may_take_over(&tx, &levels).await?;
    let mut rows = Vec::new();
    for (at, (line, part)) in new.lines.iter().zip(&parts).enumerate() {
        let there = levels.iter().find(|level| level.part_id == part.id);
        let there = there.map_or(Decimal::ZERO, |level| level.quantity.0);
        let change = Difference {
            part,
            place_id: place.id,
            by: line.quantity - there,
            unit_cost: line.unit_cost,
            path: format!("lines.{at}.unitCost"),
            kind: StockMoveKind::Counted,
            on,
            takes_over: new.takes_over,
            reason: note.clone(),
        };
        rows.extend(change.record(&tx, act).await?);
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
        levels: &[stock_level::Model],
    ) -> Result<()> {
        if !self.takes_over {
            return Ok(());
        }
        let equity = books::account_id(tx, &AccountRef::Role(Role::OwnersEquity)).await?;
        let ids = self.lines.iter().map(|line| line.part_id);
        let known = store::bought_or_counted(tx, (self.place_id, equity), ids).await?;
        let mut checks = Checks::new();
        for (at, line) in self.lines.iter().enumerate() {
            let there = levels.iter().find(|level| level.part_id == line.part_id);
            let there = there.map_or(Decimal::ZERO, |level| level.quantity.0);
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

/// Pieces that are there or gone without a document.
struct Difference<'a> {
    part: &'a part::Model,
    place_id: i64,
    by: Decimal,
    unit_cost: Option<Cents>,
    path: String,
    kind: StockMoveKind,
    on: NaiveDate,
    takes_over: bool,
    reason: Option<String>,
}

impl Difference<'_> {
    /// Writes and posts it; nothing where record and count agree.
    async fn record(
        self,
        tx: &impl ConnectionTrait,
        act: &Act,
    ) -> Result<Option<stock_move::Model>> {
        if self.by == Decimal::ZERO {
            return Ok(None);
        }
        let against = AccountRef::Role(if self.takes_over {
            Role::OwnersEquity
        } else {
            Role::StockDifferences
        });
        let about = About {
            account_id: Some(books::account_id(tx, &against).await?),
            reason: self.reason.clone(),
            ..About::default()
        };
        let ledger = Ledger::open(tx, act).await?;
        let row = if self.by > Decimal::ZERO {
            let cost = match self.unit_cost {
                Some(each) => cost_of(&self.path, each, self.by)?,
                None => ledger.worth_of(self.part, self.by).await?,
            };
            let new = In {
                part: self.part,
                place_id: self.place_id,
                quantity: self.by,
                cost,
                kind: self.kind,
                on: self.on,
                about,
            };
            ledger.come_in(new).await?.row
        } else {
            let new = Out {
                part: self.part,
                place_id: self.place_id,
                quantity: -self.by,
                assumed: Cents(self.part.cost_cents),
                kind: self.kind,
                on: self.on,
                about,
            };
            ledger.go_out(new).await?
        };
        let memo = match self.kind {
            StockMoveKind::Adjusted => format!("{} adjusted", self.part.number),
            _ if self.takes_over => format!("{} taken over", self.part.number),
            _ => format!("{} counted", self.part.number),
        };
        if self.takes_over {
            unassigned::assign(tx, act, &row, (memo, against)).await?;
        } else {
            ledger.post(&row, (memo, against)).await?;
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
/// `Forbidden`; `NotFound`; `WrongState` for a place out of use; `PeriodClosed`; refusals name the field.
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
    super::pieces(&mut checks, "change", new.change.abs());
    if let Some(cost) = new.unit_cost {
        checks.not_negative("unitCost", cost);
    }
    let reason = checks.text("reason", &new.reason, LINE_MAX);
    checks.not_after("adjustedOn", on, today);
    checks.near("adjustedOn", on, today);
    checks.finish()?;
    let part = pricing::get_part(&tx, "partId", new.part_id).await?;
    let place = places::in_use(&tx, "placeId", new.place_id).await?;
    books::check_open(&tx, "adjustedOn", on).await?;
    let change = Difference {
        part: &part,
        place_id: place.id,
        by: new.change,
        unit_cost: new.unit_cost,
        path: "unitCost".to_owned(),
        kind: StockMoveKind::Adjusted,
        on,
        takes_over: false,
        reason: Some(reason),
    };
    let row = change.record(&tx, act).await?;
    let row = row.ok_or_else(|| Error::internal("an adjustment by nothing"))?;
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}
