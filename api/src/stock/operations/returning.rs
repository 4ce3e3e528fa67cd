//! Parts that come back unused after their call was completed, or after they were sold by an invoice without a call.

use chrono::NaiveDate;
use nameplate_entities::kinds::StockMoveKind;
use nameplate_entities::{account, part_used, stock_move};
use nameplate_rules::books::{AccountRef, events};
use nameplate_rules::money::Cents;
use nameplate_rules::stock::share;
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::books::{self, NewEntry};
use crate::{calls, pricing, shop};

use super::super::ledger::{About, In, Ledger, refused, subject};
use super::super::store;
use super::places;

/// Parts that come back unused.
#[derive(Clone, Debug, Serialize)]
pub struct TakePartBack {
    #[serde(skip)]
    pub idempotency_key: String,
    /// The move by which they left.
    pub move_id: i64,
    pub quantity: Decimal,
    /// Where they are put; where they came from when left out.
    pub place_id: Option<i64>,
    pub reason: String,
    /// Today when left out.
    pub taken_back_on: Option<NaiveDate>,
}

/// Takes parts back into stock at what they cost when they left; the cost of call or invoice shrinks by as much.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a move that is neither a use on a call nor a sale, or a place out of use; `OutOfRange` for
/// more than left and did not come back; `ImpossibleDate` for a day before they left; `PeriodClosed`.
pub async fn take_part_back(act: &Act, new: TakePartBack) -> Result<stock_move::Model> {
    act.staff_with(Right::TakePartBack)?;
    let verb = Right::TakePartBack.mutation();
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
    let left = store::get_move(&tx, "moveId", new.move_id).await?;
    checks.in_order(&[
        ("moveId", "the day they left,", Some(left.moved_on)),
        ("takenBackOn", "The day they came back", Some(on)),
    ]);
    checks.finish()?;
    let used = Used::of(&tx, left).await?;
    let cost = used.cost_of(&tx, new.quantity).await?;
    books::check_open(&tx, "takenBackOn", on).await?;
    let part_id = used.left.part_id;
    let part_id = part_id.ok_or_else(|| Error::internal("parts that left without a part"))?;
    let part = pricing::get_part(&tx, "moveId", part_id).await?;
    let place_id = new.place_id.or(used.left.place_id);
    let place = places::place_or_main(&tx, "placeId", place_id).await?;
    let ledger = Ledger::open(&tx, act, verb).await?;
    let came = ledger
        .come_in(In {
            part: &part,
            place_id: place.id,
            quantity: new.quantity,
            cost,
            kind: StockMoveKind::TakenBack,
            on,
            about: About {
                call_id: used.left.call_id,
                part_used_id: used.row.as_ref().map(|row| row.id),
                invoice_id: used.left.invoice_id,
                undoes_move_id: Some(used.left.id),
                account_id: used.account.as_ref().map(|account| account.id),
                reason: Some(reason),
                ..About::default()
            },
        })
        .await?;
    used.post(&tx, act, (&part.number, &came)).await?;
    used.shrink(&tx, act, verb, (new.quantity, cost)).await?;
    audit::created(&tx, act, verb, subject(came.id), &came).await?;
    once.keep(&tx, act, &came.id).await?;
    tx.commit().await?;
    Ok(came)
}

/// A part that was used on a call, or sold.
struct Used {
    left: stock_move::Model,
    /// As it was fitted; none for one that was sold.
    row: Option<part_used::Model>,
    /// Where its cost was posted.
    account: Option<account::Model>,
}

impl Used {
    async fn of(tx: &impl ConnectionTrait, left: stock_move::Model) -> Result<Self> {
        if left.kind != StockMoveKind::Used {
            return Err(Error::refused(
                ProblemCode::WrongState,
                "moveId",
                "Only a part used on a call, or sold, comes back unused.",
            ));
        }
        let row = match left.part_used_id {
            Some(id) => Some(store::part_used_of(tx, id).await?),
            None => None,
        };
        let chart = books::chart(tx).await?;
        let account = match left.account_id {
            Some(id) => chart.into_iter().find(|row| row.id == id),
            None => store::posted_to(tx, &left, chart).await?,
        };
        Ok(Self { left, row, account })
    }

    /// What so many cost, settled or still assumed; the last piece takes what is left of it.
    async fn cost_of(&self, tx: &impl ConnectionTrait, quantity: Decimal) -> Result<Cents> {
        let changes = store::changes_of(tx, self.left.id).await?;
        let (mut pieces, mut cost) = (-self.left.quantity.0, -self.left.value_cents);
        for row in &changes {
            pieces -= row.quantity.0;
            cost -= row.value_cents;
        }
        if quantity > pieces {
            let message = format!("Only {} left and did not come back.", pieces.normalize());
            return Err(Error::refused(ProblemCode::OutOfRange, "quantity", message));
        }
        share(Cents(cost), quantity, pieces).map_err(refused)
    }

    async fn post(
        &self,
        tx: &impl ConnectionTrait,
        act: &Act,
        (number, row): (&str, &stock_move::Model),
    ) -> Result<()> {
        let Some(account) = &self.account else {
            return Ok(());
        };
        let against = AccountRef::Code(account.code.clone());
        let entry = events::stock_changed(Cents(row.value_cents), against)
            .map_err(|error| Error::caused("entry of a part taken back", error))?;
        let Some(entry) = entry else {
            return Ok(());
        };
        let call_id = self.left.call_id;
        let new = NewEntry {
            on: row.moved_on,
            memo: format!("{number} taken back unused"),
            document: Some(call_id.map_or_else(
                || subject(row.id),
                |id| Subject {
                    kind: "service_call",
                    id,
                },
            )),
            entry,
        };
        books::post(tx, act, new).await?;
        Ok(())
    }

    /// The call keeps what was fitted for good.
    async fn shrink(
        &self,
        tx: &impl ConnectionTrait,
        act: &Act,
        verb: &'static str,
        (quantity, cost): (Decimal, Cents),
    ) -> Result<()> {
        let Some(row) = &self.row else {
            return Ok(());
        };
        // What this receipt settled of them is in their cost by now.
        let row = store::part_used_of(tx, row.id).await?;
        let quantity = row.quantity.0 - quantity;
        let cost = Cents(row.cost_cents - cost.0);
        calls::set_part_cost(tx, act, verb, &row, (quantity, cost)).await
    }
}
