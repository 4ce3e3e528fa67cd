//! Shelves, vans, how few are too few, and how stock is valued.

use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{StockMethod, StockPlaceKind};
use nameplate_entities::{stock_level, stock_place, stock_terms};
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Change, Checks, Error, ProblemCode, Result, Right};
use crate::{pricing, shop};

use super::super::store;

/// Most places; a shop has a shelf or two and a van for each technician.
const PLACES_MAX: usize = 100;

/// A shelf or a van.
#[derive(Clone, Debug)]
pub struct AddStockPlace {
    pub name: String,
    pub kind: StockPlaceKind,
    /// Whose van it is.
    pub technician_id: Option<i64>,
}

/// Records where parts may lie.
///
/// # Errors
/// `Forbidden`; `Taken` for a name in use, or for a technician who has a van; `NotFound`; refusals name the field.
pub async fn add_stock_place(act: &Act, new: AddStockPlace) -> Result<stock_place::Model> {
    act.staff_with(Right::AddStockPlace)?;
    let mut checks = Checks::new();
    let name = checks.text("name", &new.name, LINE_MAX);
    let tx = act.app.db.write().await?;
    let there = store::places(&tx).await?;
    if there.len() >= PLACES_MAX {
        let message = format!("A shop has at most {PLACES_MAX} places for parts.");
        checks.refuse(ProblemCode::OutOfRange, "name", message);
    }
    check_technician(&tx, &mut checks, (None, new.kind, new.technician_id)).await?;
    checks.finish()?;
    let row = stock_place::ActiveModel {
        name_key: Set(name.to_lowercase()),
        name: Set(name),
        kind: Set(new.kind),
        technician_id: Set(new.technician_id),
        is_main: Set(false),
        retired_at: Set(None),
        version: Set(1),
        ..Default::default()
    };
    let row = row.insert(&tx).await?;
    let verb = Right::AddStockPlace.mutation();
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    tx.commit().await?;
    Ok(row)
}

/// A technician has one van, and a shelf is nobody's.
async fn check_technician(
    tx: &impl ConnectionTrait,
    checks: &mut Checks,
    (place_id, kind, technician_id): (Option<i64>, StockPlaceKind, Option<i64>),
) -> Result<()> {
    let path = "technicianId";
    let Some(id) = technician_id else {
        return Ok(());
    };
    if kind == StockPlaceKind::Shelf {
        checks.refuse(
            ProblemCode::Malformed,
            path,
            "A shelf belongs to the shop; only a van is somebody's.",
        );
    }
    shop::get_technician(tx, path, id).await?;
    let theirs = |row: &&stock_place::Model| {
        row.technician_id == Some(id) && row.retired_at.is_none() && Some(row.id) != place_id
    };
    if let Some(other) = store::places(tx).await?.iter().find(theirs) {
        let message = format!("{} is this technician's van already.", other.name);
        checks.refuse(ProblemCode::Taken, path, message);
    }
    Ok(())
}

/// A correction of a place.
#[derive(Clone, Debug)]
pub struct ChangeStockPlace {
    pub place_id: i64,
    /// The version that was read; somebody else's change in between is not overwritten.
    pub version: i32,
    pub name: Option<String>,
    pub technician_id: Change<i64>,
    /// Whether parts come from here when nobody says.
    pub is_main: Option<bool>,
    pub is_retired: Option<bool>,
}

/// Corrects a place, or takes it out of use.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `Taken`; `WrongState` for a place that is not empty, or the main one, taken out
/// of use; refusals name the field.
pub async fn change_stock_place(act: &Act, change: ChangeStockPlace) -> Result<stock_place::Model> {
    act.staff_with(Right::ChangeStockPlace)?;
    let mut checks = Checks::new();
    let tx = act.app.db.write().await?;
    let before = store::get_place(&tx, "placeId", change.place_id).await?;
    super::same_version(&mut checks, before.version, change.version);
    let mut row = before.clone().into_active_model();
    if let Some(name) = &change.name {
        let name = checks.text("name", name, LINE_MAX);
        row.name_key = Set(name.to_lowercase());
        row.name = Set(name);
    }
    let comes_back = change.is_retired == Some(false) && before.retired_at.is_some();
    match change.technician_id {
        Change::Keep if comes_back => {
            let about = (Some(before.id), before.kind, before.technician_id);
            check_technician(&tx, &mut checks, about).await?;
        }
        Change::Keep => {}
        Change::Clear => row.technician_id = Set(None),
        Change::To(id) => {
            let about = (Some(before.id), before.kind, Some(id));
            check_technician(&tx, &mut checks, about).await?;
            row.technician_id = Set(Some(id));
        }
    }
    retire(&tx, &mut checks, (&before, &change)).await?;
    if let Some(is_retired) = change.is_retired
        && is_retired != before.retired_at.is_some()
    {
        row.retired_at = Set(is_retired.then_some(act.at));
    }
    let verb = Right::ChangeStockPlace.mutation();
    if change.is_main == Some(true) && !before.is_main {
        let main = store::main_place(&tx).await?;
        let mut other = main.clone().into_active_model();
        other.is_main = Set(false);
        other.version = Set(main.version + 1);
        let after = other.update(&tx).await?;
        let both = (Some(&main), Some(&after));
        audit::record(&tx, act, verb, subject(main.id), both).await?;
        row.is_main = Set(true);
    }
    row.version = Set(before.version + 1);
    checks.finish()?;
    let after = row.update(&tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

/// Only an empty place that nothing comes from by itself goes out of use.
async fn retire(
    tx: &impl ConnectionTrait,
    checks: &mut Checks,
    (before, change): (&stock_place::Model, &ChangeStockPlace),
) -> Result<()> {
    let ends_as_main = before.is_main && change.is_main != Some(true);
    if change.is_main == Some(false) && before.is_main {
        let message = "One place is the main one: make another the main one instead.";
        checks.refuse(ProblemCode::WrongState, "isMain", message);
    }
    if change.is_main == Some(true)
        && (before.kind == StockPlaceKind::Van
            || change.is_retired.unwrap_or(before.retired_at.is_some()))
    {
        let message = "Only a shelf in use can be the main place.";
        checks.refuse(ProblemCode::WrongState, "isMain", message);
    }
    if change.is_retired == Some(true) {
        if ends_as_main || change.is_main == Some(true) {
            let message =
                "Parts come from here when nobody says; make another place the main one first.";
            checks.refuse(ProblemCode::WrongState, "isRetired", message);
        } else if !store::is_empty(tx, before.id).await? {
            let message = "Parts lie there, or are missing there; move or count them first.";
            checks.refuse(ProblemCode::WrongState, "isRetired", message);
        }
    }
    Ok(())
}

/// How few of a part at a place are too few.
#[derive(Clone, Debug)]
pub struct SetReorderPoint {
    pub part_id: i64,
    pub place_id: i64,
    /// None for no such point.
    pub reorder_point: Option<Decimal>,
}

/// Says how few of a part at a place are too few.
///
/// # Errors
/// `Forbidden`; `NotFound`; refusals name the field.
pub async fn set_reorder_point(act: &Act, new: SetReorderPoint) -> Result<stock_level::Model> {
    act.staff_with(Right::SetReorderPoint)?;
    let mut checks = Checks::new();
    if let Some(point) = new.reorder_point {
        super::pieces(&mut checks, "reorderPoint", point);
    }
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let part = pricing::get_part(&tx, "partId", new.part_id).await?;
    let place = in_use(&tx, "placeId", new.place_id).await?;
    let before = store::change_level(&tx, (part.id, place.id), Decimal::ZERO).await?;
    let mut row = before.clone().into_active_model();
    let point = new.reorder_point.map(|point| Exact(point.normalize()));
    row.reorder_point = Set(point);
    row.is_low = Set(store::is_low(before.quantity.0, point));
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::SetReorderPoint.mutation();
    let level = Subject {
        kind: "stock_level",
        id: after.id,
    };
    audit::record(&tx, act, verb, level, (Some(&before), Some(&after))).await?;
    tx.commit().await?;
    Ok(after)
}

/// Changes how stock is valued. Only while nothing is on hand: pieces that are there were valued the other way, and their
/// cost must not depend on which day the owner changed her mind.
///
/// # Errors
/// `Forbidden`; `Conflict`; `WrongState` while anything is on hand or short.
pub async fn change_stock_terms(
    act: &Act,
    (method, version): (StockMethod, i32),
) -> Result<stock_terms::Model> {
    act.staff_with(Right::ChangeStockTerms)?;
    let mut checks = Checks::new();
    let tx = act.app.db.write().await?;
    let before = store::terms(&tx).await?;
    super::same_version(&mut checks, before.version, version);
    if method != before.method && store::is_any_held(&tx).await? {
        checks.refuse(
            ProblemCode::WrongState,
            "method",
            "Parts are on hand or short. The method can change only while nothing is: count everything to zero first.",
        );
    }
    checks.finish()?;
    let mut row = before.clone().into_active_model();
    row.method = Set(method);
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::ChangeStockTerms.mutation();
    let terms = Subject {
        kind: "stock_terms",
        id: after.id,
    };
    audit::record(&tx, act, verb, terms, (Some(&before), Some(&after))).await?;
    tx.commit().await?;
    Ok(after)
}

/// A place that parts may be put to.
///
/// # Errors
/// `NotFound`; `WrongState` for one out of use.
pub async fn in_use(
    tx: &impl ConnectionTrait,
    path: &str,
    place_id: i64,
) -> Result<stock_place::Model> {
    let place = store::get_place(tx, path, place_id).await?;
    if place.retired_at.is_some() {
        let message = format!("{} is out of use.", place.name);
        return Err(Error::refused(ProblemCode::WrongState, path, message));
    }
    Ok(place)
}

/// The place that was named, or the main shelf.
///
/// # Errors
/// `NotFound`; `WrongState` at `path` for a place that is out of use.
pub async fn place_or_main(
    tx: &impl ConnectionTrait,
    path: &str,
    place_id: Option<i64>,
) -> Result<stock_place::Model> {
    match place_id {
        Some(id) => in_use(tx, path, id).await,
        None => store::main_place(tx).await,
    }
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "stock_place",
        id,
    }
}
