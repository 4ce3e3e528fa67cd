//! Recording, correcting and moving machines.

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::Fuel;
use nameplate_entities::{appliance, appliance_stay, appliance_type, service_address};
use nameplate_rules::serial::{SerialKey, SerialRefusal, fold_key};
use rust_decimal::Decimal;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ConnectionTrait, DatabaseTransaction, IntoActiveModel,
};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Change, Checks, Error, ProblemCode, Result, Right, idempotency, search};
use crate::{customers, shop};

use super::store;

/// What the plate and the papers of a machine say in figures and days.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Plate {
    pub rated_volts: Option<Decimal>,
    pub rated_watts: Option<Decimal>,
    pub rated_amps: Option<Decimal>,
    pub made_on: Option<NaiveDate>,
    pub bought_on: Option<NaiveDate>,
    pub installed_on: Option<NaiveDate>,
}

impl Plate {
    /// Figures above zero; days in order and none to come.
    fn check(&self, checks: &mut Checks, today: NaiveDate) {
        let figures = [
            ("ratedVolts", self.rated_volts),
            ("ratedWatts", self.rated_watts),
            ("ratedAmps", self.rated_amps),
        ];
        for (path, figure) in figures {
            if let Some(figure) = figure {
                checks.positive_decimal(path, figure);
            }
        }
        let days = [
            ("madeOn", "the day it was made,", self.made_on),
            ("boughtOn", "the day it was bought,", self.bought_on),
            (
                "installedOn",
                "the day it was installed,",
                self.installed_on,
            ),
        ];
        for (path, _, day) in days {
            if let Some(day) = day {
                checks.not_after(path, day, today);
                checks.of_our_time(path, day);
            }
        }
        checks.in_order(&days);
    }

    fn of(row: &appliance::Model) -> Self {
        let figure = |column: Option<Exact>| column.map(|exact| exact.0);
        Self {
            rated_volts: figure(row.rated_volts),
            rated_watts: figure(row.rated_watts),
            rated_amps: figure(row.rated_amps),
            made_on: row.made_on,
            bought_on: row.bought_on,
            installed_on: row.installed_on,
        }
    }

    fn write(&self, row: &mut appliance::ActiveModel) {
        row.rated_volts = Set(self.rated_volts.map(Exact));
        row.rated_watts = Set(self.rated_watts.map(Exact));
        row.rated_amps = Set(self.rated_amps.map(Exact));
        row.made_on = Set(self.made_on);
        row.bought_on = Set(self.bought_on);
        row.installed_on = Set(self.installed_on);
    }
}

/// A machine to record.
#[derive(Clone, Debug, Serialize)]
pub struct AddAppliance {
    pub appliance_type_id: i64,
    pub customer_id: i64,
    pub service_address_id: i64,
    pub make: String,
    pub model: String,
    /// As printed. Left out only where the plate cannot be read.
    pub serial: Option<String>,
    pub unreadable_reason: Option<String>,
    pub fuel: Fuel,
    pub plate: Plate,
    pub built_in: bool,
}

/// A machine as recorded, and those it may be mistaken for.
pub struct Added {
    pub appliance: appliance::Model,
    pub near_matches: Vec<appliance::Model>,
}

/// Records a machine and its first stay. A plate that cannot be read gets a shop tag.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Taken` at `serial` for a make and serial on record; refusals name the field.
pub async fn add_appliance(act: &Act, key: &str, new: AddAppliance) -> Result<Added> {
    act.staff_with(Right::AddAppliance)?;
    let tx = act.app.db.write().await?;
    let verb = Right::AddAppliance.mutation();
    let once = idempotency::look_up(&tx, act, verb, key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        let appliance = store::get_appliance(&tx, "", id).await?;
        return added(&tx, appliance).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut row = checked_new(&new, today)?;
    let kind = store::get_type(&tx, "applianceTypeId", new.appliance_type_id).await?;
    let place = place_of(&tx, new.customer_id, new.service_address_id).await?;
    if new.unreadable_reason.is_some() {
        row.shop_tag = Set(Some(numbers::take(&tx, Series::ShopTag).await?));
    }
    let row = row.insert(&tx).await?;
    let from_on = new.plate.installed_on.unwrap_or(today);
    begin_stay(&tx, &row, (&place, from_on)).await?;
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    index(&tx, &row, &kind).await?;
    once.keep(&tx, act, &row.id).await?;
    let outcome = added(&tx, row).await?;
    tx.commit().await?;
    Ok(outcome)
}

async fn added(tx: &DatabaseTransaction, appliance: appliance::Model) -> Result<Added> {
    let near_matches = store::near_matches(tx, &appliance).await?;
    Ok(Added {
        appliance,
        near_matches,
    })
}

fn checked_new(new: &AddAppliance, today: NaiveDate) -> Result<appliance::ActiveModel> {
    let mut checks = Checks::new();
    let mut row = appliance::ActiveModel {
        appliance_type_id: Set(new.appliance_type_id),
        customer_id: Set(new.customer_id),
        service_address_id: Set(new.service_address_id),
        model: Set(checks.text("model", &new.model, LINE_MAX)),
        fuel: Set(new.fuel),
        built_in: Set(new.built_in),
        version: Set(1),
        ..Default::default()
    };
    set_make(&mut checks, &mut row, &new.make);
    match (&new.serial, &new.unreadable_reason) {
        (Some(serial), None) => set_serial(&mut checks, &mut row, serial),
        (None, Some(reason)) => {
            row.unreadable_reason = Set(Some(checks.text("unreadableReason", reason, LINE_MAX)));
        }
        (None, None) => checks.refuse(
            ProblemCode::Missing,
            "serial",
            "Give the serial, or say in `unreadableReason` why it cannot be read.",
        ),
        (Some(_), Some(_)) => checks.refuse(
            ProblemCode::Malformed,
            "unreadableReason",
            "Give the serial or the reason why it cannot be read, not both.",
        ),
    }
    new.plate.check(&mut checks, today);
    new.plate.write(&mut row);
    checks.finish()?;
    Ok(row)
}

/// What to correct in figures and days.
#[derive(Clone, Copy, Debug, Default)]
pub struct PlateChange {
    pub rated_volts: Change<Decimal>,
    pub rated_watts: Change<Decimal>,
    pub rated_amps: Change<Decimal>,
    pub made_on: Change<NaiveDate>,
    pub bought_on: Change<NaiveDate>,
    pub installed_on: Change<NaiveDate>,
}

/// What to correct on a machine; what is left out stays.
#[derive(Clone, Debug)]
pub struct ChangeAppliance {
    pub appliance_id: i64,
    /// The version that was read; somebody else's change in between is not overwritten.
    pub version: i32,
    pub make: Option<String>,
    pub model: Option<String>,
    /// A serial that was misread, or that could be read after all. A shop tag stays valid.
    pub serial: Option<String>,
    pub fuel: Option<Fuel>,
    pub plate: PlateChange,
    pub built_in: Option<bool>,
}

/// Corrects a machine's plate data or dates. The act is `callbacks::change_appliance`: repairs are counted by model.
///
/// # Errors
/// `NotFound`; `Conflict` when it was changed since it was read; `Taken` at `serial`.
pub async fn correct(
    tx: &impl ConnectionTrait,
    act: &Act,
    change: ChangeAppliance,
) -> Result<appliance::Model> {
    let before = store::get_appliance(tx, "applianceId", change.appliance_id).await?;
    let kind = store::type_of(tx, &before).await?;
    let today = shop::settings(tx).await?.day_of(act.at);
    let after = checked_change(&before, &change, today)?.update(tx).await?;
    audit::record(
        tx,
        act,
        Right::ChangeAppliance.mutation(),
        subject(after.id),
        (Some(&before), Some(&after)),
    )
    .await?;
    index(tx, &after, &kind).await?;
    Ok(after)
}

fn checked_change(
    before: &appliance::Model,
    change: &ChangeAppliance,
    today: NaiveDate,
) -> Result<appliance::ActiveModel> {
    let mut checks = Checks::new();
    if before.version != change.version {
        checks.refuse(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this appliance since you read it. Read it again first.",
        );
    }
    let mut row = before.clone().into_active_model();
    if let Some(make) = &change.make {
        set_make(&mut checks, &mut row, make);
    }
    if let Some(model) = &change.model {
        row.model = Set(checks.text("model", model, LINE_MAX));
    }
    if let Some(serial) = &change.serial {
        set_serial(&mut checks, &mut row, serial);
        row.unreadable_reason = Set(None);
    }
    if let Some(fuel) = change.fuel {
        row.fuel = Set(fuel);
    }
    if let Some(built_in) = change.built_in {
        row.built_in = Set(built_in);
    }
    let mut plate = Plate::of(before);
    change.plate.rated_volts.apply(&mut plate.rated_volts);
    change.plate.rated_watts.apply(&mut plate.rated_watts);
    change.plate.rated_amps.apply(&mut plate.rated_amps);
    change.plate.made_on.apply(&mut plate.made_on);
    change.plate.bought_on.apply(&mut plate.bought_on);
    change.plate.installed_on.apply(&mut plate.installed_on);
    plate.check(&mut checks, today);
    plate.write(&mut row);
    row.version = Set(before.version + 1);
    checks.finish()?;
    Ok(row)
}

/// Where a machine went, and from when.
#[derive(Clone, Copy, Debug)]
pub struct MoveAppliance {
    pub appliance_id: i64,
    pub customer_id: i64,
    pub service_address_id: i64,
    pub moved_on: NaiveDate,
}

/// Records that a machine went to another owner or address. Its history goes with it.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` when it is there already; `ImpossibleDate` for a day to come or
/// before its present stay began.
pub async fn move_appliance(act: &Act, to: MoveAppliance) -> Result<appliance::Model> {
    act.staff_with(Right::MoveAppliance)?;
    let tx = act.app.db.write().await?;
    let before = store::get_appliance(&tx, "applianceId", to.appliance_id).await?;
    let place = place_of(&tx, to.customer_id, to.service_address_id).await?;
    let stay = store::present_stay(&tx, before.id).await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let mut checks = Checks::new();
    if before.service_address_id == place.id {
        checks.refuse(
            ProblemCode::WrongState,
            "serviceAddressId",
            "The machine stands there already.",
        );
    }
    checks.not_after("movedOn", to.moved_on, today);
    let from = (
        "movedOn",
        "the day its present stay began,",
        Some(stay.from_on),
    );
    checks.in_order(&[from, ("movedOn", "the day it moved,", Some(to.moved_on))]);
    checks.finish()?;
    let mut ended = stay.into_active_model();
    ended.until_on = Set(Some(to.moved_on));
    ended.update(&tx).await?;
    let mut row = before.clone().into_active_model();
    row.customer_id = Set(place.customer_id);
    row.service_address_id = Set(place.id);
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    begin_stay(&tx, &after, (&place, to.moved_on)).await?;
    audit::record(
        &tx,
        act,
        Right::MoveAppliance.mutation(),
        subject(after.id),
        (Some(&before), Some(&after)),
    )
    .await?;
    tx.commit().await?;
    Ok(after)
}

/// The service address, which must be one of this customer's.
async fn place_of(
    tx: &impl ConnectionTrait,
    customer_id: i64,
    service_address_id: i64,
) -> Result<service_address::Model> {
    let customer = customers::get_customer(tx, "customerId", customer_id).await?;
    let place = customers::get_address(tx, "serviceAddressId", service_address_id).await?;
    if place.customer_id == customer.id {
        Ok(place)
    } else {
        Err(Error::not_found(
            "serviceAddressId",
            "service address of this customer",
        ))
    }
}

async fn begin_stay(
    tx: &impl ConnectionTrait,
    appliance: &appliance::Model,
    (place, from_on): (&service_address::Model, NaiveDate),
) -> Result<()> {
    appliance_stay::ActiveModel {
        appliance_id: Set(appliance.id),
        customer_id: Set(place.customer_id),
        service_address_id: Set(place.id),
        from_on: Set(from_on),
        until_on: Set(None),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    Ok(())
}

/// The key under which a make is compared: upper case, letters and digits only.
///
/// # Errors
/// As [`SerialKey::parse`]: the same key serves both.
pub fn make_key(make: &str) -> std::result::Result<String, SerialRefusal> {
    SerialKey::parse(make).map(String::from)
}

fn set_make(checks: &mut Checks, row: &mut appliance::ActiveModel, make: &str) {
    let make = checks.text("make", make, LINE_MAX);
    match make_key(&make) {
        Ok(key) => row.make_key = Set(key),
        // An empty text was refused above.
        Err(SerialRefusal::Empty) => {}
        Err(SerialRefusal::TooLong { limit, .. }) => checks.refuse(
            ProblemCode::TooLong,
            "make",
            format!("A make has at most {limit} letters and digits."),
        ),
        Err(_) => checks.refuse(
            ProblemCode::Malformed,
            "make",
            "A make holds at least one letter or digit.",
        ),
    }
    row.make = Set(make);
}

fn set_serial(checks: &mut Checks, row: &mut appliance::ActiveModel, printed: &str) {
    match SerialKey::parse(printed) {
        Ok(key) => {
            row.serial = Set(Some(checks.text("serial", printed, LINE_MAX)));
            row.serial_fold = Set(Some(fold_key(&key)));
            row.serial_key = Set(Some(key.into()));
        }
        Err(refusal) => {
            let code = match &refusal {
                SerialRefusal::Empty => ProblemCode::Missing,
                SerialRefusal::TooLong { .. } => ProblemCode::TooLong,
                _ => ProblemCode::Malformed,
            };
            checks.refuse(code, "serial", sentence(&refusal.to_string()));
        }
    }
}

/// A rule's refusal as a sentence of its own.
pub fn sentence(text: &str) -> String {
    let mut rest = text.chars();
    let first = rest.next().map(char::to_uppercase);
    let first = first.map(String::from_iter).unwrap_or_default();
    format!("{first}{}.", rest.as_str())
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "appliance",
        id,
    }
}

/// What the search box finds a machine by: make, model, serial, shop tag and type.
async fn index(
    tx: &impl ConnectionTrait,
    row: &appliance::Model,
    kind: &appliance_type::Model,
) -> Result<()> {
    let known_as = [row.serial.as_deref(), row.shop_tag.as_deref()];
    let mut parts = vec![row.make.as_str(), &row.model, &kind.name];
    parts.extend(known_as.into_iter().flatten());
    let plate = known_as.into_iter().flatten().next().unwrap_or_default();
    let title = format!("{} {} {}, {plate}", row.make, row.model, kind.name);
    search::index(tx, subject(row.id), &title, &parts).await
}
