//! The one way into the stock: what comes in, what goes out, and what moves between places.
//!
//! Each function writes the move and brings level, holding and layers up to it, in the transaction of the act that
//! moves the parts. The act itself posts what the move is worth; only what a receipt settles, or its taking back leaves over,
//! is posted here. What is settled of parts that left for a call or an invoice goes to the same account, and is theirs.

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{StockMethod, StockMoveKind};
use nameplate_entities::{account, part, stock_level, stock_move};
use nameplate_rules::books::{AccountRef, Role, events};
use nameplate_rules::money::Cents;
use nameplate_rules::stock::{Holding, Method, Settlement, StockRefusal};
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};

use crate::base::audit::Subject;
use crate::base::{Act, Error, ProblemCode, Result};
use crate::books::{self, NewEntry};
use crate::calls;

use super::store;

/// What a move is about.
#[derive(Clone, Debug, Default)]
pub struct About {
    pub call_id: Option<i64>,
    pub part_used_id: Option<i64>,
    pub part_order_id: Option<i64>,
    pub invoice_id: Option<i64>,
    /// The move that it takes back, or belongs to.
    pub undoes_move_id: Option<i64>,
    /// The move whose assumed cost it mends.
    pub settles_move_id: Option<i64>,
    /// The account on the other side of the entry.
    pub account_id: Option<i64>,
    pub reason: Option<String>,
}

/// Parts that come in.
#[derive(Clone, Debug)]
pub struct In<'a> {
    pub part: &'a part::Model,
    pub place_id: i64,
    pub quantity: Decimal,
    /// What all of them cost.
    pub cost: Cents,
    pub kind: StockMoveKind,
    pub on: NaiveDate,
    pub about: About,
}

/// Parts that go out.
#[derive(Clone, Debug)]
pub struct Out<'a> {
    pub part: &'a part::Model,
    pub place_id: i64,
    pub quantity: Decimal,
    /// What one costs of those beyond what is on hand.
    pub assumed: Cents,
    pub kind: StockMoveKind,
    pub on: NaiveDate,
    pub about: About,
}

/// A receipt, or so many pieces of it, that goes out again as if it had never come.
#[derive(Clone, Debug)]
pub struct Back<'a> {
    pub part: &'a part::Model,
    /// The move by which they came in.
    pub receipt_id: i64,
    pub place_id: i64,
    pub quantity: Decimal,
    /// What all of them came in at.
    pub cost: Cents,
    pub on: NaiveDate,
    pub about: About,
    /// What is refused, and at which field, where not so many are on hand.
    pub too_few: (ProblemCode, &'static str),
}

/// The stock within one transaction, and the act that changes it.
pub struct Ledger<'a, C> {
    tx: &'a C,
    act: &'a Act,
    verb: &'static str,
    method: Method,
}

/// A move as the subject of audit and entry.
pub fn subject(id: i64) -> Subject {
    Subject {
        kind: "stock_move",
        id,
    }
}

impl<'a, C: ConnectionTrait> Ledger<'a, C> {
    /// The stock, valued as the shop says.
    ///
    /// # Errors
    /// Internal only.
    pub async fn open(tx: &'a C, act: &'a Act, verb: &'static str) -> Result<Self> {
        let method = match store::terms(tx).await?.method {
            StockMethod::MovingAverage => Method::MovingAverage,
            StockMethod::FirstInFirstOut => Method::FirstInFirstOut,
        };
        Ok(Self {
            tx,
            act,
            verb,
            method,
        })
    }

    /// Parts come in at what they cost. What they settle of parts that had left before is posted to where the cost of those
    /// went. Parts taken back settle what was short when they themselves left before anything else.
    ///
    /// # Errors
    /// `OutOfRange` for more than can be counted.
    pub async fn come_in(&self, new: In<'_>) -> Result<stock_move::Model> {
        let mut holding = self.holding(new.part.id).await?;
        let own = new
            .about
            .undoes_move_id
            .filter(|_| new.kind == StockMoveKind::TakenBack);
        let received = holding
            .receive_for(new.quantity, new.cost, own)
            .map_err(refused)?;
        let level = self
            .level(new.part.id, (new.place_id, new.quantity))
            .await?;
        let row = Written {
            part_id: new.part.id,
            level: Some(&level),
            kind: new.kind,
            on: new.on,
            quantity: new.quantity,
            value: new.cost,
        };
        // Level after the receipt itself; what it settles are moves of their own.
        let value_after = sum(holding.value().map_err(refused)?, received.difference)?;
        let row = self
            .written(row, (&holding, value_after), new.about)
            .await?;
        if received.settled < new.quantity {
            holding.mark_newest(row.id);
        }
        self.settle(new.part, (&row, &received.settlements), &holding)
            .await?;
        store::save_holding(self.tx, new.part.id, &holding).await?;
        Ok(row)
    }

    /// Parts go out. The move's value, below zero, is what they cost.
    ///
    /// # Errors
    /// `OutOfRange` for more than can be counted.
    pub async fn go_out(&self, new: Out<'_>) -> Result<stock_move::Model> {
        let mut holding = self.holding(new.part.id).await?;
        let taken = holding.take(new.quantity, new.assumed).map_err(refused)?;
        let level = self
            .level(new.part.id, (new.place_id, -new.quantity))
            .await?;
        let row = Written {
            part_id: new.part.id,
            level: Some(&level),
            kind: new.kind,
            on: new.on,
            quantity: -new.quantity,
            value: negated(taken.cost)?,
        };
        let value_after = holding.value().map_err(refused)?;
        let row = self
            .written(row, (&holding, value_after), new.about)
            .await?;
        if taken.short > Decimal::ZERO {
            holding.mark_newest(row.id);
        }
        store::save_holding(self.tx, new.part.id, &holding).await?;
        Ok(row)
    }

    /// So many pieces of a receipt go out again at what they came in at. What of that is no longer in the stock's value, as
    /// pieces left meanwhile at another cost, is a move of its own, posted to cost of sales.
    ///
    /// # Errors
    /// `too_few` for pieces that are gone.
    pub async fn give_back(&self, back: Back<'_>) -> Result<stock_move::Model> {
        let part_id = back.part.id;
        let mut holding = self.holding(part_id).await?;
        let excess = holding
            .take_back(back.quantity, back.cost, back.receipt_id)
            .map_err(|refusal| match refusal {
                StockRefusal::TooFew { there } => {
                    let (code, path) = back.too_few;
                    let number = &back.part.number;
                    let message =
                        format!("Over all places only {there} of {number} are still there.");
                    Error::refused(code, path, message)
                }
                other => refused(other),
            })?;
        let level = self.level(part_id, (back.place_id, -back.quantity)).await?;
        let row = Written {
            part_id,
            level: Some(&level),
            kind: StockMoveKind::SentBack,
            on: back.on,
            quantity: -back.quantity,
            value: negated(back.cost)?,
        };
        let value_after = holding.value().map_err(refused)?;
        let at = (&holding, sum(value_after, negated(excess)?)?);
        let row = self.written(row, at, back.about).await?;
        if excess != Cents::ZERO {
            let cost_of_sales = AccountRef::Role(Role::PartsCostOfSales);
            let left_over = Written {
                part_id,
                level: None,
                kind: StockMoveKind::Settled,
                on: back.on,
                quantity: Decimal::ZERO,
                value: excess,
            };
            let about = About {
                account_id: Some(books::account_id(self.tx, &cost_of_sales).await?),
                undoes_move_id: Some(row.id),
                ..About::default()
            };
            let left_over = self
                .written(left_over, (&holding, value_after), about)
                .await?;
            let memo = format!(
                "What {} sent back had cost those that left",
                back.part.number
            );
            self.post(&left_over, (memo, cost_of_sales)).await?;
        }
        store::save_holding(self.tx, part_id, &holding).await?;
        Ok(row)
    }

    /// Parts go from one place to another; their value stays.
    ///
    /// # Errors
    /// Internal only.
    pub async fn shift(
        &self,
        part_id: i64,
        (from_id, to_id): (i64, i64),
        (quantity, on): (Decimal, NaiveDate),
    ) -> Result<stock_move::Model> {
        let holding = self.holding(part_id).await?;
        let value = holding.value().map_err(refused)?;
        let mut last = None;
        for (place_id, quantity) in [(from_id, -quantity), (to_id, quantity)] {
            let level = self.level(part_id, (place_id, quantity)).await?;
            let row = Written {
                part_id,
                level: Some(&level),
                kind: StockMoveKind::Moved,
                on,
                quantity,
                value: Cents::ZERO,
            };
            let about = About::default();
            last = Some(self.written(row, (&holding, value), about).await?);
        }
        last.ok_or_else(|| Error::internal("a shift without its two moves"))
    }

    /// What so many found pieces are worth: as the others, or else what the catalogue says.
    ///
    /// # Errors
    /// `OutOfRange` for more than can be counted.
    pub async fn worth_of(&self, part: &part::Model, quantity: Decimal) -> Result<Cents> {
        let holding = self.holding(part.id).await?;
        if let Some(worth) = holding.worth_of(quantity).map_err(refused)? {
            return Ok(worth);
        }
        Cents(part.cost_cents)
            .times_half_up(quantity)
            .map_err(|_| refused(StockRefusal::TooLarge))
    }

    async fn holding(&self, part_id: i64) -> Result<Holding> {
        let layers = store::layers(self.tx, part_id).await?;
        Holding::of(self.method, layers).map_err(refused)
    }

    async fn level(
        &self,
        part_id: i64,
        (place_id, by): (i64, Decimal),
    ) -> Result<stock_level::Model> {
        store::change_level(self.tx, (part_id, place_id), by).await
    }

    /// What was assumed for parts that had left gives way to what they cost, each for the move by which it left.
    async fn settle(
        &self,
        part: &part::Model,
        (receipt, settlements): (&stock_move::Model, &[Settlement]),
        holding: &Holding,
    ) -> Result<()> {
        let mut value_after = Cents(receipt.value_after_cents.unwrap_or_default());
        let settlements: Vec<_> = settlements
            .iter()
            .filter(|one| one.difference != Cents::ZERO)
            .collect();
        if settlements.is_empty() {
            return Ok(());
        }
        let chart = books::chart(self.tx).await?;
        for one in settlements {
            let left = match one.mark {
                Some(id) => Some(store::get_move(self.tx, "", id).await?),
                None => None,
            };
            let (account_id, against) = against(&chart, left.as_ref())?;
            let row = Written {
                part_id: part.id,
                level: None,
                kind: StockMoveKind::Settled,
                on: receipt.moved_on,
                quantity: Decimal::ZERO,
                value: negated(one.difference)?,
            };
            let about = About {
                call_id: left.as_ref().and_then(|left| left.call_id),
                part_used_id: left.as_ref().and_then(|left| left.part_used_id),
                invoice_id: left.as_ref().and_then(|left| left.invoice_id),
                account_id: Some(account_id),
                undoes_move_id: Some(receipt.id),
                settles_move_id: left.as_ref().map(|left| left.id),
                ..About::default()
            };
            value_after = sum(value_after, row.value)?;
            let row = self.written(row, (holding, value_after), about).await?;
            let memo = format!(
                "Real cost of {} fitted before it came in, against what was assumed",
                part.number
            );
            self.post(&row, (memo, against)).await?;
            if let Some(id) = row.part_used_id {
                let used = store::part_used_of(self.tx, id).await?;
                let cost = sum(Cents(used.cost_cents), one.difference)?;
                let as_it_is = (used.quantity.0, cost);
                calls::set_part_cost(self.tx, self.act, self.verb, &used, as_it_is).await?;
            }
        }
        Ok(())
    }

    /// Posts what a move is worth against an account.
    ///
    /// # Errors
    /// Those of `books::post`.
    pub async fn post(
        &self,
        row: &stock_move::Model,
        (memo, against): (String, AccountRef),
    ) -> Result<()> {
        let entry = events::stock_changed(Cents(row.value_cents), against)
            .map_err(|error| Error::caused("entry of a stock move", error))?;
        let Some(entry) = entry else {
            return Ok(());
        };
        let new = NewEntry {
            on: row.moved_on,
            memo,
            document: Some(subject(row.id)),
            entry,
        };
        books::post(self.tx, self.act, new).await?;
        Ok(())
    }

    async fn written(
        &self,
        new: Written<'_>,
        (holding, value_after): (&Holding, Cents),
        about: About,
    ) -> Result<stock_move::Model> {
        let part_after = holding.quantity().map_err(refused)?;
        let row = stock_move::ActiveModel {
            part_id: Set(Some(new.part_id)),
            place_id: Set(new.level.map(|level| level.place_id)),
            kind: Set(new.kind),
            moved_on: Set(new.on),
            recorded_at: Set(self.act.at),
            recorded_by: Set(self.act.staff_id()),
            quantity: Set(Exact(new.quantity.normalize())),
            value_cents: Set(new.value.0),
            place_after: Set(new.level.map(|level| level.quantity)),
            part_after: Set(Some(Exact(part_after))),
            value_after_cents: Set(Some(value_after.0)),
            call_id: Set(about.call_id),
            part_used_id: Set(about.part_used_id),
            part_order_id: Set(about.part_order_id),
            invoice_id: Set(about.invoice_id),
            undoes_move_id: Set(about.undoes_move_id),
            settles_move_id: Set(about.settles_move_id),
            account_id: Set(about.account_id),
            reason: Set(about.reason),
            ..Default::default()
        };
        Ok(row.insert(self.tx).await?)
    }
}

/// Where the cost of parts went that had left: to the account of that move, as far as it is one of costs and in use.
fn against(
    chart: &[account::Model],
    left: Option<&stock_move::Model>,
) -> Result<(i64, AccountRef)> {
    let of_cost = |left: &&stock_move::Model| {
        matches!(
            left.kind,
            StockMoveKind::Used | StockMoveKind::Counted | StockMoveKind::Adjusted
        )
    };
    let id = left.filter(of_cost).and_then(|left| left.account_id);
    let in_use = |row: &&account::Model| Some(row.id) == id && row.retired_at.is_none();
    if let Some(row) = chart.iter().find(in_use) {
        return Ok((row.id, AccountRef::Code(row.code.clone())));
    }
    let key = books::role_key(Role::PartsCostOfSales);
    let row = chart
        .iter()
        .find(|row| row.role.as_deref() == Some(key.as_str()));
    let row = row.ok_or_else(|| Error::internal("no account for what parts cost"))?;
    Ok((row.id, AccountRef::Role(Role::PartsCostOfSales)))
}

/// A move before it is written.
struct Written<'a> {
    part_id: i64,
    level: Option<&'a stock_level::Model>,
    kind: StockMoveKind,
    on: NaiveDate,
    quantity: Decimal,
    value: Cents,
}

/// The same amount with the other sign.
pub(super) fn negated(amount: Cents) -> Result<Cents> {
    amount
        .checked_neg()
        .ok_or_else(|| refused(StockRefusal::TooLarge))
}

fn sum(one: Cents, other: Cents) -> Result<Cents> {
    one.checked_add(other)
        .ok_or_else(|| refused(StockRefusal::TooLarge))
}

/// What the stock cannot hold is the caller's to mend; the rest was held against the input before.
pub(super) fn refused(refusal: StockRefusal) -> Error {
    match refusal {
        StockRefusal::TooLarge => Error::refused(
            ProblemCode::OutOfRange,
            "",
            "So many parts, or what they cost, are more than can be counted.",
        ),
        other => Error::caused("stock", other),
    }
}
