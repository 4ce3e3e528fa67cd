//! Parts fitted on calls: from which place they come, and what they cost.

use chrono::NaiveDate;
use nameplate_entities::kinds::{Role as StaffRole, StockMoveKind, StockPlaceKind};
use nameplate_entities::{part_used, remedy, service_call, stock_place};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;

use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::calls::{self, RecordRemedy};
use crate::{books, pricing};

use super::super::ledger::{About, Ledger, Out, negated};
use super::super::store;
use super::super::store::orders;

/// Writes down what was done about a finding, and the parts, perhaps with the place each comes from.
///
/// Places are looked at before the act begins: they are never deleted, and for one that is out of use by the time the call
/// is completed the main shelf gives the parts.
///
/// # Errors
/// Those of `calls::record_remedy`; `Forbidden` also for a technician who names another's van; `NotFound`, `WrongState`
/// at `parts.N.placeId`.
pub async fn record_remedy(act: &Act, new: RecordRemedy) -> Result<remedy::Model> {
    act.staff_with(Right::RecordRemedy)?;
    let (staff_id, role) = act.staff()?;
    let is_anothers = |place: &stock_place::Model| {
        role == StaffRole::Technician && place.technician_id.is_some_and(|id| id != staff_id)
    };
    if new.parts.iter().any(|part| part.place_id.is_some()) {
        let there = store::places(act.app.db.read()).await?;
        let mut checks = Checks::new();
        for (at, part) in new.parts.iter().enumerate() {
            let Some(id) = part.place_id else { continue };
            let path = format!("parts.{at}.placeId");
            match there.iter().find(|place| place.id == id) {
                None => return Err(Error::not_found(path, "place for parts")),
                Some(place) if is_anothers(place) => return Err(Error::Forbidden),
                Some(place) if place.retired_at.is_some() => {
                    let message = format!("{} is out of use.", place.name);
                    checks.refuse(ProblemCode::WrongState, &path, message);
                }
                Some(_) => {}
            }
        }
        if !checks.is_clean() && !is_done(act, &new).await? {
            checks.finish()?;
        }
    }
    calls::record_remedy(act, new).await
}

/// Whether this request was carried out before, while the places were still in use: it is answered as it was then.
async fn is_done(act: &Act, new: &RecordRemedy) -> Result<bool> {
    let verb = Right::RecordRemedy.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, new).await?;
    Ok(once.receipt::<i64>()?.is_some())
}

/// Takes what was fitted on a call out of stock, and writes what it cost beside it; gives the sum.
///
/// A part comes from the place that was named, if that is in use; else from the van of who fitted it, if so many lie
/// there; else from the main shelf. Pieces beyond what is on hand cost what they did when they were fitted. `against` is
/// the account that the caller posts the sum to; parts that cost nothing need none.
///
/// # Errors
/// `OutOfRange` for more than can be counted.
pub async fn take_fitted(
    tx: &impl ConnectionTrait,
    act: &Act,
    call: &service_call::Model,
    (against, on): (Role, NaiveDate),
) -> Result<Cents> {
    let fitted = orders::fitted_on(tx, call.id).await?;
    if fitted.is_empty() {
        return Ok(Cents::ZERO);
    }
    let places = store::places(tx).await?;
    let against = Some(books::role_key(against));
    let chart = books::chart(tx).await?;
    let account_id = chart.iter().find(|row| row.role == against);
    let account_id = account_id.map(|row| row.id);
    let ids: Vec<i64> = fitted.iter().map(|(used, _)| used.part_id).collect();
    let parts = pricing::parts_by_id(tx, &ids).await?;
    let verb = Right::CompleteCall.mutation();
    let ledger = Ledger::open(tx, act, verb).await?;
    let mut whole = Cents::ZERO;
    for (used, fitted_by) in &fitted {
        let part = parts.iter().find(|part| part.id == used.part_id);
        let part = part.ok_or_else(|| Error::internal("a part that was fitted is not listed"))?;
        let place_id = comes_from(tx, &places, (used, *fitted_by)).await?;
        let out = Out {
            part,
            place_id,
            quantity: used.quantity.0,
            assumed: Cents(used.unit_cost_cents),
            kind: StockMoveKind::Used,
            on,
            about: About {
                call_id: Some(call.id),
                part_used_id: Some(used.id),
                account_id,
                ..About::default()
            },
        };
        let row = ledger.go_out(out).await?;
        let cost = negated(Cents(row.value_cents))?;
        calls::set_part_cost(tx, act, verb, used, (used.quantity.0, cost)).await?;
        whole = whole
            .checked_add(cost)
            .ok_or_else(|| Error::internal("parts of a call that cost too much to be counted"))?;
    }
    Ok(whole)
}

async fn comes_from(
    tx: &impl ConnectionTrait,
    places: &[stock_place::Model],
    (used, fitted_by): (&part_used::Model, i64),
) -> Result<i64> {
    let in_use =
        |place: &&stock_place::Model| Some(place.id) == used.place_id && place.retired_at.is_none();
    if let Some(named) = places.iter().find(in_use) {
        return Ok(named.id);
    }
    let own = |place: &&stock_place::Model| {
        place.kind == StockPlaceKind::Van
            && place.technician_id == Some(fitted_by)
            && place.retired_at.is_none()
    };
    if let Some(van) = places.iter().find(own) {
        let level = store::level(tx, (used.part_id, van.id)).await?;
        let there = level.map_or(Decimal::ZERO, |level| level.quantity.0);
        if there >= used.quantity.0 {
            return Ok(van.id);
        }
    }
    let main = places.iter().find(|place| place.is_main);
    main.map(|place| place.id)
        .ok_or_else(|| Error::internal("no place is the main one"))
}
