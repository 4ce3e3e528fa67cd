//! Parts that come in without a bill: paid at once, or with the bill still to come.

use chrono::NaiveDate;
use nameplate_entities::kinds::StockMoveKind;
use nameplate_entities::stock_move;
use nameplate_rules::books::{AccountRef, Role};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use crate::base::audit;
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::{books, pricing, shop};

use super::super::ledger::{About, In, Ledger, subject};
use super::super::store;
use super::ordering::{self, Delivery};
use super::places;

/// Parts that came in.
#[derive(Clone, Debug, Serialize)]
pub struct ReceiveParts {
    #[serde(skip)]
    pub idempotency_key: String,
    pub part_id: i64,
    pub quantity: Decimal,
    pub unit_cost: Cents,
    /// The main shelf when left out.
    pub place_id: Option<i64>,
    /// Today when left out.
    pub received_on: Option<NaiveDate>,
    /// The order they were sent for.
    pub order_id: Option<i64>,
    /// Code of the account at a bank they were paid from at once; when left out the bill is still to come.
    pub paid_from: Option<String>,
    /// Such as the number on the packing slip.
    pub note: Option<String>,
}

/// Takes parts into stock.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a place out of use, an order that is closed or of another part, or an
/// account that is no bank's; `TooMuch` for more than the order waits for; `ImpossibleDate`, also for a day before the order; `PeriodClosed`; refusals name the field.
pub async fn receive_parts(act: &Act, new: ReceiveParts) -> Result<stock_move::Model> {
    act.staff_with(Right::ReceiveParts)?;
    let verb = Right::ReceiveParts.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_move(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let on = new.received_on.unwrap_or(today);
    let mut checks = Checks::new();
    super::pieces(&mut checks, "quantity", new.quantity);
    checks.not_negative("unitCost", new.unit_cost);
    checks.not_after("receivedOn", on, today);
    checks.near("receivedOn", on, today);
    let note = checks.text_if_any("note", new.note.as_deref(), LINE_MAX);
    let against = against(&tx, &mut checks, new.paid_from.as_deref()).await?;
    checks.finish()?;
    let part = pricing::get_part(&tx, "partId", new.part_id).await?;
    let place = places::place_or_main(&tx, "placeId", new.place_id).await?;
    books::check_open(&tx, "receivedOn", on).await?;
    let order = match new.order_id {
        Some(id) => {
            let came = ("receivedOn", on);
            let what = (part.id, ("quantity", new.quantity));
            Some(ordering::order_to_receive(&tx, ("orderId", id), what, came).await?)
        }
        None => None,
    };
    let cost = cost_of("unitCost", new.unit_cost, new.quantity)?;
    let ledger = Ledger::open(&tx, act, verb).await?;
    let came = ledger
        .come_in(In {
            part: &part,
            place_id: place.id,
            quantity: new.quantity,
            cost,
            kind: StockMoveKind::Received,
            on,
            about: About {
                part_order_id: order.as_ref().map(|order| order.id),
                account_id: Some(books::account_id(&tx, &against).await?),
                reason: note,
                ..About::default()
            },
        })
        .await?;
    let memo = format!("{} received", part.number);
    ledger.post(&came, (memo, against)).await?;
    if new.paid_from.is_none() {
        let supplier_id = order.as_ref().map(|order| order.supplier_id);
        store::await_bill(&tx, &came, supplier_id.or(part.supplier_id)).await?;
    }
    if let Some(order) = &order {
        let delivery = Delivery {
            order,
            quantity: new.quantity,
            on,
        };
        ordering::deliver(&tx, act, verb, delivery).await?;
    }
    audit::created(&tx, act, verb, subject(came.id), &came).await?;
    once.keep(&tx, act, &came.id).await?;
    tx.commit().await?;
    Ok(came)
}

/// The account at a bank they were paid from, or that of parts whose bill is still to come.
async fn against(
    tx: &impl ConnectionTrait,
    checks: &mut Checks,
    paid_from: Option<&str>,
) -> Result<AccountRef> {
    let unbilled = AccountRef::Role(Role::ReceivedNotBilled);
    let Some(code) = paid_from else {
        return Ok(unbilled);
    };
    let chart = books::chart(tx).await?;
    let bank = books::bank_of_code(checks, "paidFrom", (&chart, code));
    Ok(bank.map_or(unbilled, |row| AccountRef::Code(row.code)))
}

/// What so many pieces cost.
///
/// # Errors
/// `OutOfRange` at `path` for more than can be counted.
pub fn cost_of(path: &str, unit_cost: Cents, quantity: Decimal) -> Result<Cents> {
    let mut checks = Checks::new();
    let cost = unit_cost.times_half_up(quantity).map_err(|_| {
        let message = "So many parts cost more than can be counted.";
        Error::refused(ProblemCode::OutOfRange, path, message)
    })?;
    checks.not_negative(path, cost);
    checks.finish()?;
    Ok(cost)
}
