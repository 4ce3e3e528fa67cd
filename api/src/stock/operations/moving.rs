//! Parts from one place to another.

use nameplate_entities::kinds::Role;
use nameplate_entities::{stock_move, stock_place};
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use crate::base::audit;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::shop;

use super::super::ledger::{Ledger, subject};
use super::super::store;
use super::{parts_of_lines, places};

/// So many of one part.
#[derive(Clone, Debug, Serialize)]
pub struct MoveLine {
    pub part_id: i64,
    pub quantity: Decimal,
}

/// Parts to move.
#[derive(Clone, Debug, Serialize)]
pub struct MoveStock {
    #[serde(skip)]
    pub idempotency_key: String,
    pub from_id: i64,
    pub to_id: i64,
    pub lines: Vec<MoveLine>,
}

/// Moves parts between two places. A technician moves them into the own van or out of it.
///
/// # Errors
/// `Forbidden`, also for a technician at somebody else's van; `NotFound`; `WrongState` for a place out of use;
/// `OutOfRange` for more than lie there; refusals name the field.
pub async fn move_stock(act: &Act, new: MoveStock) -> Result<Vec<stock_move::Model>> {
    act.staff_with(Right::MoveStock)?;
    let verb = Right::MoveStock.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(ids) = once.receipt::<Vec<i64>>()? {
        let mut rows = Vec::with_capacity(ids.len());
        for id in ids {
            rows.push(store::get_move(&tx, "", id).await?);
        }
        return Ok(rows);
    }
    let mut checks = Checks::new();
    super::some_lines(&mut checks, new.lines.len());
    for (at, line) in new.lines.iter().enumerate() {
        super::pieces(&mut checks, &format!("lines.{at}.quantity"), line.quantity);
    }
    if new.from_id == new.to_id {
        let message = "Both places are the same.";
        checks.refuse(ProblemCode::Malformed, "toId", message);
    }
    checks.finish()?;
    let from = store::get_place(&tx, "fromId", new.from_id).await?;
    let to = places::in_use(&tx, "toId", new.to_id).await?;
    may_touch(act, [&from, &to])?;
    let ids: Vec<i64> = new.lines.iter().map(|line| line.part_id).collect();
    parts_of_lines(&tx, &ids).await?;
    enough_there(&tx, &from, &new.lines).await?;
    let on = shop::settings(&tx).await?.day_of(act.at);
    let ledger = Ledger::open(&tx, act, verb).await?;
    let mut rows = Vec::with_capacity(new.lines.len());
    for line in &new.lines {
        let way = (from.id, to.id);
        let row = ledger.shift(line.part_id, way, (line.quantity, on)).await?;
        audit::created(&tx, act, verb, subject(row.id), &row).await?;
        rows.push(row);
    }
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    once.keep(&tx, act, &ids).await?;
    tx.commit().await?;
    Ok(rows)
}

/// A technician touches the shelves and the own van, one of these places must be the own van.
///
/// # Errors
/// `Forbidden`.
pub fn may_touch<'a>(
    act: &Act,
    places: impl IntoIterator<Item = &'a stock_place::Model>,
) -> Result<()> {
    let (staff_id, role) = act.staff()?;
    if role != Role::Technician {
        return Ok(());
    }
    let mut own = false;
    for place in places {
        match place.technician_id {
            Some(id) if id == staff_id => own = true,
            Some(_) => return Err(Error::Forbidden),
            None => {}
        }
    }
    if own { Ok(()) } else { Err(Error::Forbidden) }
}

async fn enough_there(
    tx: &impl ConnectionTrait,
    from: &stock_place::Model,
    lines: &[MoveLine],
) -> Result<()> {
    let levels = store::levels_at(tx, from.id, lines.iter().map(|line| line.part_id)).await?;
    let mut checks = Checks::new();
    for (at, line) in lines.iter().enumerate() {
        let there = levels.iter().find(|level| level.part_id == line.part_id);
        let there = there.map_or(Decimal::ZERO, |level| level.quantity.0);
        if line.quantity > there {
            let message = format!(
                "Only {there} lie at {}. Count them if there are more.",
                from.name
            );
            let path = format!("lines.{at}.quantity");
            checks.refuse(ProblemCode::OutOfRange, &path, message);
        }
    }
    checks.finish()
}
