//! Parts fitted on calls: from which place they come, and what they cost.

use chrono::NaiveDate;
use nameplate_entities::kinds::{StockMoveKind, StockPlaceKind};
use nameplate_entities::{part_used, remedy, service_call, stock_place};
use nameplate_rules::books::AccountRef;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};

use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::calls::{self, RecordRemedy};
use crate::{books, pricing};

use super::super::ledger::{About, Ledger, Out};
use super::super::store;
use super::super::store::orders;

/// Writes down what was done about a finding, and the parts, perhaps with the place each comes from.
///
/// Places are looked at before the act begins: they are never deleted, and one that goes out of use in between still
/// gives up what was taken there.
///
/// # Errors
/// Those of `calls::record_remedy`; `NotFound`, `WrongState` at `parts.N.placeId`.
pub async fn record_remedy(act: &Act, new: RecordRemedy) -> Result<remedy::Model> {
    act.staff_with(Right::RecordRemedy)?;
    if new.parts.iter().any(|part| part.place_id.is_some()) {
        let there = store::places(act.app.db.read()).await?;
        let mut checks = Checks::new();
        for (at, part) in new.parts.iter().enumerate() {
            let Some(id) = part.place_id else { continue };
            let path = format!("parts.{at}.placeId");
            match there.iter().find(|place| place.id == id) {
                None => return Err(Error::not_found(path, "place for parts")),
                Some(place) if place.retired_at.is_some() => {
                    let message = format!("{} is out of use.", place.name);
                    checks.refuse(ProblemCode::WrongState, &path, message);
                }
                Some(_) => {}
            }
        }
        checks.finish()?;
    }
    calls::record_remedy(act, new).await
}

/// Takes what was fitted on a call out of stock, and writes what it cost beside it; gives the sum.
///
/// A part comes from the place that was named; else from the van of who fitted it, if so many lie there; else from the
/// main shelf. `against` is the account that the caller posts the sum to.
///
/// # Errors
/// `OutOfRange` for more than can be counted.
pub async fn take_fitted(
    tx: &impl ConnectionTrait,
    act: &Act,
    call: &service_call::Model,
    (against, on): (AccountRef, NaiveDate),
) -> Result<Cents> {
    let fitted = orders::fitted_on(tx, call.id).await?;
    if fitted.is_empty() {
        return Ok(Cents::ZERO);
    }
    let places = store::places(tx).await?;
    let account_id = books::account_id(tx, &against).await?;
    let ids: Vec<i64> = fitted.iter().map(|(used, _)| used.part_id).collect();
    let parts = pricing::parts_by_id(tx, &ids).await?;
    let ledger = Ledger::open(tx, act).await?;
    let mut whole = Cents::ZERO;
    for (used, fitted_by) in &fitted {
        let part = parts.iter().find(|part| part.id == used.part_id);
        let part = part.ok_or_else(|| Error::internal("a part that was fitted is not listed"))?;
        let place_id = comes_from(tx, &places, (used, *fitted_by)).await?;
        let out = Out {
            part,
            place_id,
            quantity: used.quantity.0,
            kind: StockMoveKind::Used,
            on,
            about: About {
                call_id: Some(call.id),
                part_used_id: Some(used.id),
                account_id: Some(account_id),
                ..About::default()
            },
        };
        let row = ledger.go_out(out).await?;
        let cost = Cents(row.value_cents).checked_neg();
        let cost = cost.ok_or_else(|| Error::internal("a cost that cannot be turned"))?;
        let priced = part_used::ActiveModel {
            id: Set(used.id),
            cost_cents: Set(cost.0),
            ..Default::default()
        };
        priced.update(tx).await?;
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
    if let Some(id) = used.place_id {
        return Ok(id);
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
