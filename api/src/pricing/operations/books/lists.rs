//! The lists of a price book, held against the door: rates by grade, trip zones, flat-rate tasks.

use std::collections::{BTreeSet, HashMap};

use nameplate_entities::{component, flat_rate_task, labour_rate, trip_zone};
use nameplate_rules::money::Cents;
use nameplate_rules::pricing::trip::postal_key;
use rust_decimal::Decimal;
use sea_orm::{ActiveValue::Set, ConnectionTrait};

use crate::appliances;
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Checks, ProblemCode, Result};

use super::DraftPriceBook;
use super::terms::AMOUNT_MAX;

const RATES_MAX: usize = 20;
const ZONES_MAX: usize = 100;
const CODES_MAX: usize = 500;
const TASKS_MAX: usize = 1_000;
/// Hours of one task.
const HOURS_MAX: Decimal = Decimal::ONE_HUNDRED;
/// Distance of a zone, in either unit.
const DISTANCE_MAX: Decimal = Decimal::ONE_THOUSAND;

/// Price of an hour of a technician of one grade.
#[derive(Clone, Debug)]
pub struct NewRate {
    pub name: String,
    pub hourly_rate: Cents,
}

/// A zone of the shop's area. With neither codes nor a distance, addresses are put into it by name.
#[derive(Clone, Debug)]
pub struct NewZone {
    pub name: String,
    pub charge: Cents,
    pub postal_codes: Vec<String>,
    pub up_to_distance: Option<Decimal>,
}

/// Work with the hours it is listed with.
#[derive(Clone, Debug)]
pub struct NewTask {
    /// The same in every book.
    pub key: String,
    pub name: String,
    /// What the customer reads.
    pub description: Option<String>,
    pub appliance_type_id: Option<i64>,
    pub component_id: Option<i64>,
    pub hours: Decimal,
}

/// Rows of the lists, without their book.
pub(super) struct Lists {
    pub(super) rates: Vec<labour_rate::ActiveModel>,
    pub(super) zones: Vec<trip_zone::ActiveModel>,
    pub(super) tasks: Vec<flat_rate_task::ActiveModel>,
}

/// The lists as rows; what is wrong is added to `checks`.
pub(super) async fn checked(
    db: &impl ConnectionTrait,
    checks: &mut Checks,
    book: &DraftPriceBook,
) -> Result<Lists> {
    let most = [
        ("rates", book.rates.len(), RATES_MAX),
        ("zones", book.zones.len(), ZONES_MAX),
        ("tasks", book.tasks.len(), TASKS_MAX),
    ];
    for (path, given, max) in most {
        if given > max {
            let words = format!("A price book takes at most {max} of these.");
            checks.refuse(ProblemCode::TooLong, path, words);
        }
    }
    let parents = Parents::of(db, &book.tasks).await?;
    let mut tasks = Vec::new();
    let mut keys = BTreeSet::new();
    for (position, task) in (0..).zip(book.tasks.iter().take(TASKS_MAX)) {
        let row = task.row(checks, position);
        taken(
            checks,
            &mut keys,
            format!("tasks.{position}.key"),
            &task.key,
        );
        parents.check(checks, position, task);
        tasks.push(row);
    }
    Ok(Lists {
        rates: rates(checks, book),
        zones: zones(checks, book),
        tasks,
    })
}

fn taken(checks: &mut Checks, known: &mut BTreeSet<String>, path: String, name: &str) {
    if !known.insert(name.trim().to_owned()) {
        checks.refuse(ProblemCode::Taken, &path, "Another one here has this name.");
    }
}

fn amount(checks: &mut Checks, path: &str, amount: Cents) -> i64 {
    checks.not_negative(path, amount);
    if amount > AMOUNT_MAX {
        let words = format!("{amount} is above {AMOUNT_MAX}, the most a price book takes.");
        checks.refuse(ProblemCode::OutOfRange, path, words);
    }
    amount.0
}

fn rates(checks: &mut Checks, book: &DraftPriceBook) -> Vec<labour_rate::ActiveModel> {
    let mut names = BTreeSet::new();
    let mut rows = Vec::new();
    for (position, rate) in (0..).zip(book.rates.iter().take(RATES_MAX)) {
        let path = format!("rates.{position}.name");
        let name = checks.text(&path, &rate.name, LINE_MAX);
        taken(checks, &mut names, path, &rate.name);
        let path = format!("rates.{position}.hourlyRate");
        rows.push(labour_rate::ActiveModel {
            position: Set(position),
            name: Set(name),
            hourly_rate_cents: Set(amount(checks, &path, rate.hourly_rate)),
            ..Default::default()
        });
    }
    rows
}

fn zones(checks: &mut Checks, book: &DraftPriceBook) -> Vec<trip_zone::ActiveModel> {
    let mut names = BTreeSet::new();
    let mut codes = BTreeSet::new();
    let mut edges = BTreeSet::new();
    let mut rows = Vec::new();
    for (position, zone) in (0..).zip(book.zones.iter().take(ZONES_MAX)) {
        let path = |field: &str| format!("zones.{position}.{field}");
        let name = checks.text(&path("name"), &zone.name, LINE_MAX);
        taken(checks, &mut names, path("name"), &zone.name);
        let charge_cents = amount(checks, &path("charge"), zone.charge);
        if let Some(edge) = zone.up_to_distance {
            distance(checks, &path("upToDistance"), zone, book);
            if !edges.insert(edge.normalize()) {
                let words = "Another zone ends at this distance.";
                checks.refuse(ProblemCode::Taken, &path("upToDistance"), words);
            }
        }
        rows.push(trip_zone::ActiveModel {
            position: Set(position),
            name: Set(name),
            charge_cents: Set(charge_cents),
            postal_codes: Set(postal_codes(checks, &path("postalCodes"), zone, &mut codes)),
            up_to_distance: Set(zone.up_to_distance.map(Into::into)),
            ..Default::default()
        });
    }
    rows
}

fn distance(checks: &mut Checks, path: &str, zone: &NewZone, book: &DraftPriceBook) {
    let edge = zone.up_to_distance.unwrap_or_default();
    if edge <= Decimal::ZERO || edge > DISTANCE_MAX || edge.scale() > 3 {
        let words =
            format!("{edge} is outside 0 to {DISTANCE_MAX} or has more than three decimals.");
        checks.refuse(ProblemCode::OutOfRange, path, words);
    }
    if book.distance_unit.is_none() {
        let words = "Say whether distances are in kilometres or miles.";
        checks.refuse(ProblemCode::Missing, "distanceUnit", words);
    }
    if !zone.postal_codes.is_empty() {
        let words = "A zone goes by postal codes or by distance, not by both.";
        checks.refuse(ProblemCode::Malformed, path, words);
    }
}

/// The codes of a zone as one text; a code may stand in one zone only.
fn postal_codes(
    checks: &mut Checks,
    path: &str,
    zone: &NewZone,
    known: &mut BTreeSet<String>,
) -> Option<String> {
    if zone.postal_codes.len() > CODES_MAX {
        let words = format!("A zone takes at most {CODES_MAX} postal codes.");
        checks.refuse(ProblemCode::TooLong, path, words);
        return None;
    }
    let mut keys = Vec::with_capacity(zone.postal_codes.len());
    for (at, code) in zone.postal_codes.iter().enumerate() {
        let key = postal_key(code);
        let path = format!("{path}.{at}");
        if key.is_empty() || key.chars().count() > 12 {
            let words =
                "This is no postal code; write it whole, or its beginning with a * after it.";
            checks.refuse(ProblemCode::Malformed, &path, words);
        } else if !known.insert(key.clone()) {
            checks.refuse(
                ProblemCode::Taken,
                &path,
                "This code stands in a zone already.",
            );
        }
        keys.push(key);
    }
    (!keys.is_empty()).then(|| keys.join(","))
}

impl NewTask {
    fn row(&self, checks: &mut Checks, position: i32) -> flat_rate_task::ActiveModel {
        let path = |field: &str| format!("tasks.{position}.{field}");
        if self.hours <= Decimal::ZERO || self.hours > HOURS_MAX || self.hours.scale() > 4 {
            let hours = self.hours;
            let words = format!(
                "{hours} is not above 0, beyond {HOURS_MAX}, or has more than four decimals."
            );
            checks.refuse(ProblemCode::OutOfRange, &path("hours"), words);
        }
        flat_rate_task::ActiveModel {
            position: Set(position),
            task_key: Set(checks.text(&path("key"), &self.key, LINE_MAX)),
            name: Set(checks.text(&path("name"), &self.name, LINE_MAX)),
            description: Set(checks.text_if_any(
                &path("description"),
                self.description.as_deref(),
                TEXT_MAX,
            )),
            appliance_type_id: Set(self.appliance_type_id),
            component_id: Set(self.component_id),
            hours: Set(self.hours.into()),
            ..Default::default()
        }
    }
}

/// The types and components that tasks name, as far as they exist.
struct Parents {
    types: BTreeSet<i64>,
    components: HashMap<i64, component::Model>,
}

impl Parents {
    async fn of(db: &impl ConnectionTrait, tasks: &[NewTask]) -> Result<Self> {
        let types = tasks.iter().filter_map(|task| task.appliance_type_id);
        let types = types.collect::<BTreeSet<_>>();
        let components = tasks.iter().filter_map(|task| task.component_id);
        let components = components.collect::<BTreeSet<_>>();
        let types = appliances::types_by_ids(db, types).await?;
        let components = appliances::components_by_ids(db, components).await?;
        Ok(Self {
            types: types.into_iter().map(|row| row.id).collect(),
            components: components.into_iter().map(|row| (row.id, row)).collect(),
        })
    }

    fn check(&self, checks: &mut Checks, position: i32, task: &NewTask) {
        if let Some(id) = task.appliance_type_id
            && !self.types.contains(&id)
        {
            let path = format!("tasks.{position}.applianceTypeId");
            checks.refuse(
                ProblemCode::NotFound,
                &path,
                "There is no such type of machine.",
            );
        }
        if let Some(id) = task.component_id {
            let found = self.components.get(&id);
            let fits = found.is_some_and(|row| {
                task.appliance_type_id
                    .is_none_or(|of| of == row.appliance_type_id)
            });
            if !fits {
                let path = format!("tasks.{position}.componentId");
                let words = "There is no such component of this type of machine.";
                checks.refuse(ProblemCode::NotFound, &path, words);
            }
        }
    }
}
