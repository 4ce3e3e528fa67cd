//! Value that the books had of parts before parts were recorded.
//!
//! It is part of the stock without naming a part. A count that takes stock over uses it up first; what is then left, or
//! was missing from the beginning, the owner posts to the account it belongs to.

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::StockMoveKind;
use nameplate_entities::stock_move;
use nameplate_rules::books::{AccountRef, events};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::audit;
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::books::{self, NewEntry};
use crate::shop;

use super::super::ledger::{Ledger, negated, subject};
use super::super::store;
use super::super::store::values;

/// Value to post out of the stock.
#[derive(Clone, Debug, Serialize)]
pub struct WriteOffUnassignedStock {
    #[serde(skip)]
    pub idempotency_key: String,
    /// Code of the account it belongs to.
    pub account: String,
    pub reason: String,
    /// Today when left out.
    pub posted_on: Option<NaiveDate>,
}

/// Posts all value that is not assigned to parts to an account.
///
/// # Errors
/// `Forbidden`; `NotFound`, `WrongState` for the account; `WrongState` where there is none; `PeriodClosed`.
pub async fn write_off_unassigned_stock(
    act: &Act,
    new: WriteOffUnassignedStock,
) -> Result<stock_move::Model> {
    act.staff_with(Right::WriteOffUnassignedStock)?;
    let verb = Right::WriteOffUnassignedStock.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_move(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let on = new.posted_on.unwrap_or(today);
    let mut checks = Checks::new();
    let reason = checks.text("reason", &new.reason, LINE_MAX);
    checks.not_after("postedOn", on, today);
    checks.near("postedOn", on, today);
    let chart = books::chart(&tx).await?;
    let against = books::free_account(&mut checks, "account", (&chart, &new.account));
    checks.finish()?;
    let against = against.ok_or_else(|| Error::internal("an account that passed the door"))?;
    books::check_open(&tx, "postedOn", on).await?;
    let there = Cents(values::unassigned(&tx).await?);
    if there == Cents::ZERO {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "",
            "All value of the stock is assigned to parts.",
        ));
    }
    let row = NoPart {
        kind: StockMoveKind::Adjusted,
        on,
        value: negated(there)?,
        assigned_to: None,
        account_id: Some(books::account_id(&tx, &against).await?),
        reason: Some(reason),
    };
    let row = row.write(&tx, act).await?;
    let memo = "Stock value of before that belongs to no part".to_owned();
    let ledger = Ledger::open(&tx, act, verb).await?;
    ledger.post(&row, (memo, against)).await?;
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// Gives a part taken over its value out of what is not assigned, and posts the rest.
///
/// # Errors
/// Those of `books::post`.
pub async fn assign(
    tx: &impl ConnectionTrait,
    act: &Act,
    row: &stock_move::Model,
    (memo, against): (String, AccountRef),
) -> Result<()> {
    let there = Cents(values::unassigned(tx).await?);
    let value = Cents(row.value_cents);
    let used = value.min(there).max(Cents::ZERO);
    if used > Cents::ZERO {
        let out = NoPart {
            kind: StockMoveKind::Assigned,
            on: row.moved_on,
            value: negated(used)?,
            assigned_to: Some(row.id),
            account_id: None,
            reason: None,
        };
        out.write(tx, act).await?;
    }
    let rest = value
        .checked_sub(used)
        .ok_or_else(|| Error::internal("value taken over that cannot be counted"))?;
    let entry = events::stock_changed(rest, against)
        .map_err(|error| Error::caused("entry of stock taken over", error))?;
    let Some(entry) = entry else {
        return Ok(());
    };
    let new = NewEntry {
        on: row.moved_on,
        memo,
        document: Some(subject(row.id)),
        entry,
    };
    books::post(tx, act, new).await?;
    Ok(())
}

/// A move of value without a part.
struct NoPart {
    kind: StockMoveKind,
    on: NaiveDate,
    value: Cents,
    assigned_to: Option<i64>,
    account_id: Option<i64>,
    reason: Option<String>,
}

impl NoPart {
    async fn write(self, tx: &impl ConnectionTrait, act: &Act) -> Result<stock_move::Model> {
        let row = stock_move::ActiveModel {
            kind: Set(self.kind),
            moved_on: Set(self.on),
            recorded_at: Set(act.at),
            recorded_by: Set(act.staff_id()),
            quantity: Set(Exact(Decimal::ZERO)),
            value_cents: Set(self.value.0),
            undoes_move_id: Set(self.assigned_to),
            account_id: Set(self.account_id),
            reason: Set(self.reason),
            ..Default::default()
        };
        Ok(row.insert(tx).await?)
    }
}
