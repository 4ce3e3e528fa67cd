//! Parts on order, perhaps for a call that waits.

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{CallState, PartOrderState};
use nameplate_entities::part_order;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Change, Checks, Error, ProblemCode, Result, Right, idempotency, search};
use crate::{calls, pricing, shop};

use super::super::store::orders as store;

/// Parts to order.
#[derive(Clone, Debug, Serialize)]
pub struct OrderPart {
    #[serde(skip)]
    pub idempotency_key: String,
    pub part_id: i64,
    pub quantity: Decimal,
    pub supplier_id: i64,
    /// The call that waits for them.
    pub call_id: Option<i64>,
    pub expected_on: Option<NaiveDate>,
    /// The supplier's own number of the order.
    pub reference: Option<String>,
}

/// Writes down that parts were ordered.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a call that is not open; refusals name the field.
pub async fn order_part(act: &Act, new: OrderPart) -> Result<part_order::Model> {
    let staff_id = act.staff_with(Right::OrderPart)?;
    let verb = Right::OrderPart.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_order(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    super::pieces(&mut checks, "quantity", new.quantity);
    if let Some(day) = new.expected_on {
        checks.near("expectedOn", day, today);
    }
    checks.in_order(&[
        ("idempotencyKey", "today,", Some(today)),
        ("expectedOn", "The expected day", new.expected_on),
    ]);
    let reference = checks.text_if_any("reference", new.reference.as_deref(), LINE_MAX);
    checks.finish()?;
    let part = pricing::get_part(&tx, "partId", new.part_id).await?;
    let supplier = pricing::get_supplier(&tx, "supplierId", new.supplier_id).await?;
    if let Some(id) = new.call_id {
        let call = calls::get_call(&tx, "callId", id).await?;
        if call.state != CallState::Open {
            let message = format!("Call {} is closed; nothing waits for parts.", call.number);
            return Err(Error::refused(ProblemCode::WrongState, "callId", message));
        }
    }
    let row = part_order::ActiveModel {
        number: Set(numbers::take(&tx, Series::PartOrder).await?),
        part_id: Set(part.id),
        quantity: Set(Exact(new.quantity.normalize())),
        received_quantity: Set(Exact(Decimal::ZERO)),
        supplier_id: Set(supplier.id),
        call_id: Set(new.call_id),
        state: Set(PartOrderState::Ordered),
        reference: Set(reference),
        ordered_on: Set(today),
        expected_on: Set(new.expected_on),
        closed_on: Set(None),
        closed_because: Set(None),
        ordered_by: Set(staff_id),
        version: Set(1),
        ..Default::default()
    };
    let row = row.insert(&tx).await?;
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    let title = format!("{}, {}", row.number, part.description);
    let words = [
        &row.number,
        row.reference.as_deref().unwrap_or_default(),
        &part.number,
        &part.description,
    ];
    search::index(&tx, subject(row.id), &title, &words).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// An order of which nothing more will come.
#[derive(Clone, Debug)]
pub struct CancelPartOrder {
    pub order_id: i64,
    pub reason: String,
}

/// Closes an order of which nothing more will come. One of which something came counts as received.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one that is closed; refusals name the field.
pub async fn cancel_part_order(act: &Act, cancel: CancelPartOrder) -> Result<part_order::Model> {
    act.staff_with(Right::CancelPartOrder)?;
    let verb = Right::CancelPartOrder.mutation();
    let mut checks = Checks::new();
    let reason = checks.text("reason", &cancel.reason, LINE_MAX);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let before = store::get_order(&tx, "orderId", cancel.order_id).await?;
    must_be_open(&before, "orderId")?;
    let mut row = before.clone().into_active_model();
    row.state = Set(if before.received_quantity.0 > Decimal::ZERO {
        PartOrderState::Received
    } else {
        PartOrderState::Cancelled
    });
    row.closed_on = Set(Some(today));
    row.closed_because = Set(Some(reason));
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

/// The order that so many parts are received for, with or without a bill.
///
/// # Errors
/// `NotFound`; `WrongState` for one that is closed, or of another part; `ImpossibleDate` for a day before it; `TooMuch` for
/// more than it waits for.
pub async fn order_to_receive(
    tx: &impl ConnectionTrait,
    (path, order_id): (&str, i64),
    (part_id, (pieces_path, quantity)): (i64, (&str, Decimal)),
    (day_path, came_on): (&str, NaiveDate),
) -> Result<part_order::Model> {
    let order = store::get_order(tx, path, order_id).await?;
    must_be_open(&order, path)?;
    if order.part_id != part_id {
        let message = format!("Order {} is of another part.", order.number);
        return Err(Error::refused(ProblemCode::WrongState, path, message));
    }
    let mut checks = Checks::new();
    checks.in_order(&[
        (path, "the day of the order,", Some(order.ordered_on)),
        (day_path, "The day they came", Some(came_on)),
    ]);
    let to_come = order.quantity.0 - order.received_quantity.0;
    if quantity > to_come {
        let message = format!(
            "Only {to_come} of order {} are still to come. Receive what is beyond it without the order.",
            order.number
        );
        checks.refuse(ProblemCode::TooMuch, pieces_path, message);
    }
    checks.finish()?;
    Ok(order)
}

/// Parts that came for an order.
pub struct Delivery<'a> {
    pub order: &'a part_order::Model,
    pub quantity: Decimal,
    pub on: NaiveDate,
}

/// Notes what came for an order; it is received once all of it is there.
///
/// # Errors
/// Internal only.
pub async fn deliver(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    delivery: Delivery<'_>,
) -> Result<part_order::Model> {
    let before = delivery.order;
    let received = before.received_quantity.0 + delivery.quantity;
    let mut row = before.clone().into_active_model();
    row.received_quantity = Set(Exact(received.normalize()));
    if received >= before.quantity.0 {
        row.state = Set(PartOrderState::Received);
        row.closed_on = Set(Some(delivery.on));
    }
    row.version = Set(before.version + 1);
    let after = row.update(tx).await?;
    let both = (Some(before), Some(&after));
    audit::record(tx, act, verb, subject(after.id), both).await?;
    Ok(after)
}

/// Notes that pieces of an order had not come after all: it waits for them again, unless nothing more was to come.
///
/// # Errors
/// Internal only.
pub async fn had_not_come(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    (order_id, quantity): (i64, Decimal),
) -> Result<()> {
    let before = store::get_order(tx, "", order_id).await?;
    let received = before.received_quantity.0 - quantity;
    let mut row = before.clone().into_active_model();
    row.received_quantity = Set(Exact(received.normalize()));
    if before.closed_because.is_some() {
        if received <= Decimal::ZERO {
            row.state = Set(PartOrderState::Cancelled);
        }
    } else if received < before.quantity.0 {
        row.state = Set(PartOrderState::Ordered);
        row.closed_on = Set(None);
    }
    row.version = Set(before.version + 1);
    let after = row.update(tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(tx, act, verb, subject(after.id), both).await
}

/// What is known anew of an order that is under way.
#[derive(Clone, Debug)]
pub struct ChangePartOrder {
    pub order_id: i64,
    /// The version that was read; somebody else's change in between is not overwritten.
    pub version: i32,
    pub expected_on: Change<NaiveDate>,
    pub reference: Change<String>,
}

/// Changes when an order is expected, or the supplier's number of it.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `WrongState` for one that is closed; `ImpossibleDate` for a day before the order;
/// refusals name the field.
pub async fn change_part_order(act: &Act, change: ChangePartOrder) -> Result<part_order::Model> {
    act.staff_with(Right::ChangePartOrder)?;
    let verb = Right::ChangePartOrder.mutation();
    let tx = act.app.db.write().await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let before = store::get_order(&tx, "orderId", change.order_id).await?;
    let mut checks = Checks::new();
    super::same_version(&mut checks, before.version, change.version);
    let mut row = before.clone().into_active_model();
    match change.expected_on {
        Change::Keep => {}
        Change::Clear => row.expected_on = Set(None),
        Change::To(day) => {
            checks.near("expectedOn", day, today);
            checks.in_order(&[
                ("orderId", "the day of the order,", Some(before.ordered_on)),
                ("expectedOn", "The expected day", Some(day)),
            ]);
            row.expected_on = Set(Some(day));
        }
    }
    match &change.reference {
        Change::Keep => {}
        Change::Clear => row.reference = Set(None),
        Change::To(text) => row.reference = Set(Some(checks.text("reference", text, LINE_MAX))),
    }
    checks.finish()?;
    must_be_open(&before, "orderId")?;
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

fn must_be_open(order: &part_order::Model, path: &str) -> Result<()> {
    let state = match order.state {
        PartOrderState::Ordered => return Ok(()),
        PartOrderState::Received => "received",
        PartOrderState::Cancelled => "cancelled",
    };
    let message = format!("Order {} is {state} already.", order.number);
    Err(Error::refused(ProblemCode::WrongState, path, message))
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "part_order",
        id,
    }
}
