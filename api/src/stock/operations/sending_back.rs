//! A receipt that is taken back: written down wrongly, or its parts went back before they were billed.
//!
//! What was billed is given back by a supplier's credit.

use chrono::NaiveDate;
use nameplate_entities::kinds::StockMoveKind;
use nameplate_entities::{stock_move, unbilled_receipt};
use nameplate_rules::books::{AccountRef, Role};
use nameplate_rules::money::Cents;
use nameplate_rules::stock::share;
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use crate::base::audit;
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::{books, pricing, shop};

use super::super::ledger::{About, Back, Ledger, refused, subject};
use super::super::store;
use super::{ordering, places};

/// Why a receipt is taken back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum WhyBack {
    /// They had not come, or not so many: an order waits for them again.
    WrittenWrongly,
    /// They went back to their supplier, who will not bill them.
    SentToSupplier,
}

/// A receipt, or a part of it, to take back.
#[derive(Clone, Debug, Serialize)]
pub struct TakeReceiptBack {
    #[serde(skip)]
    pub idempotency_key: String,
    /// The move by which they came in.
    pub move_id: i64,
    pub quantity: Decimal,
    pub why: WhyBack,
    /// Where they lie; where they were put when left out.
    pub place_id: Option<i64>,
    pub reason: String,
    /// Today when left out.
    pub taken_back_on: Option<NaiveDate>,
}

/// Takes a receipt back at what it came in at, out of the stock and off what waits for a bill or was paid.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a move that is no receipt, or one that is billed or went back whole; `OutOfRange`
/// for more than came and is still there; `ImpossibleDate`, also for a day before they came; `PeriodClosed`.
pub async fn take_receipt_back(act: &Act, new: TakeReceiptBack) -> Result<stock_move::Model> {
    act.staff_with(Right::TakeReceiptBack)?;
    let verb = Right::TakeReceiptBack.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_move(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let on = new.taken_back_on.unwrap_or(today);
    let mut checks = Checks::new();
    super::pieces(&mut checks, "quantity", new.quantity);
    let reason = checks.text("reason", &new.reason, LINE_MAX);
    checks.not_after("takenBackOn", on, today);
    let came = store::get_move(&tx, "moveId", new.move_id).await?;
    checks.in_order(&[
        ("moveId", "the day they came,", Some(came.moved_on)),
        ("takenBackOn", "The day they went back", Some(on)),
    ]);
    checks.finish()?;
    let receipt = Receipt::of(&tx, came).await?;
    let cost = receipt.cost_of(new.quantity)?;
    books::check_open(&tx, "takenBackOn", on).await?;
    let part_id = receipt.came.part_id;
    let part_id = part_id.ok_or_else(|| Error::internal("a receipt of no part"))?;
    let part = pricing::get_part(&tx, "moveId", part_id).await?;
    let place_id = new.place_id.or(receipt.came.place_id);
    let place = places::place_or_main(&tx, "placeId", place_id).await?;
    let there = store::pieces_at(&tx, (part.id, place.id)).await?;
    if new.quantity > there {
        let message = format!("Only {there} lie at {}.", place.name);
        return Err(Error::refused(ProblemCode::OutOfRange, "quantity", message));
    }
    let reopened = receipt
        .came
        .part_order_id
        .filter(|_| new.why == WhyBack::WrittenWrongly);
    let back = Back {
        part: &part,
        receipt_id: receipt.came.id,
        place_id: place.id,
        quantity: new.quantity,
        cost,
        on,
        about: About {
            part_order_id: reopened,
            undoes_move_id: Some(receipt.came.id),
            account_id: receipt.came.account_id,
            reason: Some(reason),
            ..About::default()
        },
        too_few: (ProblemCode::OutOfRange, "quantity"),
    };
    let ledger = Ledger::open(&tx, act, verb).await?;
    let row = ledger.give_back(back).await?;
    let memo = format!("{} received wrongly or sent back", part.number);
    ledger.post(&row, (memo, receipt.against.clone())).await?;
    if let Some(unbilled) = &receipt.unbilled {
        store::await_less(&tx, unbilled, (new.quantity, cost)).await?;
    }
    if let Some(id) = reopened {
        ordering::had_not_come(&tx, act, verb, (id, new.quantity)).await?;
    }
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// Pieces of a receipt that did not go back, and their cents.
async fn left_of(tx: &impl ConnectionTrait, came: &stock_move::Model) -> Result<(Decimal, i64)> {
    let (mut pieces, mut cost) = (came.quantity.0, came.value_cents);
    for row in store::changes_of(tx, came.id).await? {
        pieces += row.quantity.0;
        cost += row.value_cents;
    }
    Ok((pieces, cost))
}

/// A receipt, or what of it is not billed.
struct Receipt {
    came: stock_move::Model,
    /// What is left of it.
    pieces: Decimal,
    cost: Cents,
    /// The account on the other side of its entry.
    against: AccountRef,
    /// While its bill is still to come.
    unbilled: Option<unbilled_receipt::Model>,
}

impl Receipt {
    async fn of(tx: &impl ConnectionTrait, came: stock_move::Model) -> Result<Self> {
        let wrong = |message: &str| Error::refused(ProblemCode::WrongState, "moveId", message);
        if came.kind != StockMoveKind::Received {
            return Err(wrong("Only a receipt is taken back so."));
        }
        let unbilled = store::unbilled(tx, came.id).await?;
        let payable = books::account_id(tx, &AccountRef::Role(Role::Payables)).await?;
        let is_billed = unbilled.as_ref().is_some_and(|row| !row.is_open);
        if is_billed && left_of(tx, &came).await?.0 == Decimal::ZERO {
            return Err(wrong("All of these pieces went back already."));
        }
        if is_billed || came.account_id == Some(payable) {
            return Err(wrong(
                "The bill of these parts is there: record the supplier's credit (recordSupplierCredit).",
            ));
        }
        let chart = books::chart(tx).await?;
        let account = chart
            .into_iter()
            .find(|row| Some(row.id) == came.account_id);
        let against = match account {
            Some(row) if unbilled.is_none() => AccountRef::Code(row.code),
            _ => AccountRef::Role(Role::ReceivedNotBilled),
        };
        let (pieces, cost) = match &unbilled {
            Some(row) => (row.open_quantity.0, row.open_cents),
            None => left_of(tx, &came).await?,
        };
        Ok(Self {
            came,
            pieces,
            cost: Cents(cost),
            against,
            unbilled,
        })
    }

    /// What so many came in at; the last piece takes what is left of it.
    fn cost_of(&self, quantity: Decimal) -> Result<Cents> {
        if quantity > self.pieces {
            let message = format!(
                "Only {} came that are neither billed nor gone back.",
                self.pieces.normalize()
            );
            return Err(Error::refused(ProblemCode::OutOfRange, "quantity", message));
        }
        share(self.cost, quantity, self.pieces).map_err(refused)
    }
}
