//! A shop with planted effects, from its calls to the table that the owner reads.
//!
//! The calls are those of `fixtures/worked/made-up-shop.csv`. Its figures were computed with the R package survival 3.5-3
//! (`survfit`, `coxph` with Breslow's ties) and numpy 2.4.6; each within a millionth.

use std::collections::{BTreeMap, HashMap};

use chrono::{Days, NaiveDate, NaiveTime, TimeDelta};
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{
    CallKind, CallState, CustomerKind, Dimension, Fuel, Hazard, Method, Role,
};
use nameplate_entities::{
    appliance, appliance_type, component, customer, failure_mode, finding, outcome_due, part,
    part_lot, part_used, remedy, service_address, service_call, staff,
};
use nameplate_rules::rates::judge::Verdict;
use rust_decimal::Decimal;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, DatabaseTransaction, EntityTrait, IntoActiveModel,
    Iterable, PrimaryKeyToColumn,
};

use crate::base::testing::Bench;
use crate::base::{Act, Caller};
use crate::callbacks::{self, outcomes::Watch};

use super::months;
use super::rates::{Rates, rates};

const CALLS: &str = include_str!("../../../fixtures/worked/made-up-shop.csv");
const WINDOW_DAYS: u32 = 90;

fn epoch() -> NaiveDate {
    NaiveDate::from_ymd_opt(2024, 1, 1).expect("a day")
}

/// A day of the made-up shop.
fn on(day: u64) -> NaiveDate {
    epoch() + Days::new(day)
}

fn at(day: u64) -> chrono::DateTime<chrono::Utc> {
    on(day).and_time(NaiveTime::MIN).and_utc() + TimeDelta::hours(12)
}

/// One line of the file.
struct Line<'a> {
    day: u64,
    technician: &'a str,
    appliance: &'a str,
    appliance_type: &'a str,
    component: &'a str,
    failure_mode: &'a str,
    method: &'a str,
    batch: &'a str,
    callback_after_days: Option<u64>,
}

fn lines() -> Vec<Line<'static>> {
    CALLS
        .lines()
        .skip(1)
        .map(|line| {
            let cells = line.split(',').collect::<Vec<_>>();
            let cell = |place: usize| *cells.get(place).expect("a cell");
            Line {
                day: cell(1).parse().expect("a day"),
                technician: cell(2),
                appliance: cell(3),
                appliance_type: cell(4),
                component: cell(5),
                failure_mode: cell(6),
                method: cell(7),
                batch: cell(9),
                callback_after_days: cell(10).parse().ok(),
            }
        })
        .collect()
}

/// Rows are made a table at a time, with ids of their own.
#[derive(Default)]
struct Rows {
    types: BTreeMap<String, i64>,
    components: BTreeMap<(i64, String), i64>,
    modes: BTreeMap<String, i64>,
    technicians: BTreeMap<String, i64>,
    machines: BTreeMap<String, i64>,
    lots: BTreeMap<String, i64>,
}

fn id_of<K: Ord>(map: &mut BTreeMap<K, i64>, key: K) -> i64 {
    let next = i64::try_from(map.len()).expect("a count") + 1_000;
    *map.entry(key).or_insert(next)
}

/// The act of the program in a shop that has all these calls, on day 730.
async fn shop(bench: &Bench) -> Act {
    bench.app.clock.set(at(730));
    let program = bench.app.act(Caller::Program);
    crate::shop::open(&program).await.expect("a shop");
    let tx = bench.app.db.write().await.expect("the writer");
    fill(&tx).await;
    tx.commit().await.expect("committed");
    callbacks::open(&program).await.expect("worked out");
    program
}

async fn fill(tx: &DatabaseTransaction) {
    let mut rows = Rows::default();
    let lines = lines();
    for line in &lines {
        let kind = id_of(&mut rows.types, line.appliance_type.to_owned());
        id_of(&mut rows.components, (kind, line.component.to_owned()));
        id_of(&mut rows.modes, line.failure_mode.to_owned());
        id_of(&mut rows.technicians, line.technician.to_owned());
        id_of(&mut rows.machines, line.appliance.to_owned());
        if !line.batch.is_empty() {
            id_of(&mut rows.lots, line.batch.to_owned());
        }
    }
    lists(tx, &rows).await;
    machines(tx, &rows, &lines).await;
    work(tx, &mut rows, &lines).await;
}

async fn insert<A>(tx: &DatabaseTransaction, rows: Vec<A>)
where
    A: ActiveModelTrait + Send,
    <A::Entity as EntityTrait>::PrimaryKey: Iterable + PrimaryKeyToColumn,
    <A::Entity as EntityTrait>::Model: IntoActiveModel<A>,
{
    for chunk in rows.chunks(200) {
        A::Entity::insert_many(chunk.to_vec())
            .exec_without_returning(tx)
            .await
            .expect("inserted");
    }
}

async fn lists(tx: &DatabaseTransaction, rows: &Rows) {
    let types = rows
        .types
        .iter()
        .map(|(name, id)| appliance_type::ActiveModel {
            id: Set(*id),
            key: Set(format!("made up {name}")),
            name: Set(name.clone()),
        });
    insert(tx, types.collect()).await;
    let components = rows
        .components
        .iter()
        .map(|((kind, name), id)| component::ActiveModel {
            id: Set(*id),
            appliance_type_id: Set(*kind),
            name: Set(name.clone()),
        });
    insert(tx, components.collect()).await;
    let modes = rows
        .modes
        .iter()
        .map(|(name, id)| failure_mode::ActiveModel {
            id: Set(*id),
            key: Set(format!("made up {name}")),
            name: Set(name.clone()),
            hazard: Set(Hazard::None),
        });
    insert(tx, modes.collect()).await;
    let technicians = rows
        .technicians
        .iter()
        .map(|(name, id)| staff::ActiveModel {
            id: Set(*id),
            name: Set(name.clone()),
            email: Set(format!("{name}@shop.example")),
            role: Set(Role::Technician),
            password_hash: Set("none".to_owned()),
            created_at: Set(at(0)),
            left_at: Set(None),
            version: Set(1),
        });
    insert(tx, technicians.collect()).await;
    let part = part::ActiveModel {
        id: Set(1),
        number: Set("PN-D14".to_owned()),
        description: Set("drain pump".to_owned()),
        cost_cents: Set(2_000),
        version: Set(1),
        ..Default::default()
    };
    part.insert(tx).await.expect("a part");
    let lots = rows.lots.iter().map(|(lot, id)| part_lot::ActiveModel {
        id: Set(*id),
        part_id: Set(1),
        lot: Set(lot.clone()),
        first_seen_at: Set(at(0)),
    });
    insert(tx, lots.collect()).await;
}

async fn machines(tx: &DatabaseTransaction, rows: &Rows, lines: &[Line<'_>]) {
    let customer = customer::ActiveModel {
        id: Set(1),
        kind: Set(CustomerKind::Household),
        name: Set("Ada Quill".to_owned()),
        created_at: Set(at(0)),
        version: Set(1),
        ..Default::default()
    };
    customer.insert(tx).await.expect("a customer");
    let address = service_address::ActiveModel {
        id: Set(1),
        customer_id: Set(1),
        line1: Set("1 Made Up Road".to_owned()),
        city: Set("Nowhere".to_owned()),
        region: Set("NA".to_owned()),
        postal_code: Set("00000".to_owned()),
        country: Set("US".to_owned()),
        version: Set(1),
        ..Default::default()
    };
    address.insert(tx).await.expect("an address");
    let kinds: HashMap<&str, &str> = lines
        .iter()
        .map(|line| (line.appliance, line.appliance_type))
        .collect();
    let machines = rows.machines.iter().map(|(serial, id)| {
        let kind = kinds.get(serial.as_str()).expect("a type");
        appliance::ActiveModel {
            id: Set(*id),
            appliance_type_id: Set(*rows.types.get(*kind).expect("a type")),
            customer_id: Set(1),
            service_address_id: Set(1),
            make: Set("Hearthline".to_owned()),
            make_key: Set("HEARTHLINE".to_owned()),
            model: Set("HX".to_owned()),
            serial: Set(Some(serial.clone())),
            serial_key: Set(Some(serial.clone())),
            serial_fold: Set(Some(serial.clone())),
            fuel: Set(Fuel::Electric),
            built_in: Set(false),
            version: Set(1),
            ..Default::default()
        }
    });
    let machines = machines.collect::<Vec<_>>();
    let due = rows.machines.values().map(|id| outcome_due::ActiveModel {
        appliance_id: Set(*id),
    });
    insert(tx, machines).await;
    insert(tx, due.collect()).await;
}

fn call(
    id: i64,
    machine: i64,
    (opened, completed): (u64, Option<u64>),
) -> service_call::ActiveModel {
    service_call::ActiveModel {
        id: Set(id),
        number: Set(format!("C-{id}")),
        appliance_id: Set(machine),
        customer_id: Set(1),
        service_address_id: Set(1),
        kind: Set(CallKind::Repair),
        complaint: Set("does not work".to_owned()),
        state: Set(completed.map_or(CallState::Open, |_| CallState::Completed)),
        opened_at: Set(at(opened)),
        opened_on: Set(on(opened)),
        completed_at: Set(completed.map(at)),
        completed_on: Set(completed.map(on)),
        root_cause: Set(None),
        opened_by: Set(None),
        version: Set(1),
    }
}

async fn work(tx: &DatabaseTransaction, rows: &mut Rows, lines: &[Line<'_>]) {
    let (mut calls, mut findings, mut remedies, mut parts) = (vec![], vec![], vec![], vec![]);
    for (id, line) in (1_i64..).zip(lines) {
        let machine = id_of(&mut rows.machines, line.appliance.to_owned());
        let kind = id_of(&mut rows.types, line.appliance_type.to_owned());
        let technician = id_of(&mut rows.technicians, line.technician.to_owned());
        calls.push(call(id, machine, (line.day, Some(line.day))));
        if let Some(after) = line.callback_after_days {
            calls.push(call(100_000 + id, machine, (line.day + after, None)));
        }
        findings.push(finding::ActiveModel {
            id: Set(id),
            call_id: Set(id),
            component_id: Set(id_of(
                &mut rows.components,
                (kind, line.component.to_owned()),
            )),
            failure_mode_id: Set(id_of(&mut rows.modes, line.failure_mode.to_owned())),
            position: Set(None),
            cause: Set(None),
            found_at: Set(at(line.day)),
            found_by: Set(technician),
            note: Set(None),
        });
        remedies.push(remedy::ActiveModel {
            id: Set(id),
            finding_id: Set(id),
            method: Set(match line.method {
                "splice" => Method::Spliced,
                "replace terminal block" => Method::ReTerminated,
                _ => Method::Replaced,
            }),
            labour_minutes: Set(40),
            done_at: Set(at(line.day)),
            done_by: Set(technician),
            note: Set(None),
        });
        if !line.batch.is_empty() {
            parts.push(part_used::ActiveModel {
                id: Set(id),
                remedy_id: Set(id),
                part_id: Set(1),
                quantity: Set(Exact(Decimal::ONE)),
                unit_cost_cents: Set(2_000),
                cost_cents: Set(2_000),
                lot_id: Set(Some(id_of(&mut rows.lots, line.batch.to_owned()))),
                supplier_id: Set(None),
                place_id: Set(None),
            });
        }
    }
    insert(tx, calls).await;
    insert(tx, findings).await;
    insert(tx, remedies).await;
    insert(tx, parts).await;
}

fn watch(from: u64, window_days: u32) -> Watch {
    Watch {
        from: on(from),
        through: on(730),
        window_days,
        today: on(730),
    }
}

#[track_caller]
fn near(got: f64, expected: f64) {
    assert!(
        (got - expected).abs() <= 1e-6 * expected.abs(),
        "{got}, not {expected}"
    );
}

async fn table(act: &Act, dimension: Dimension) -> Rates {
    let db = act.app.db.read();
    let table = rates(db, dimension, watch(0, WINDOW_DAYS), 100).await;
    table.expect("rates")
}

/// Repairs and returns, the ratio and the verdict of each group, by label.
fn told(table: &Rates) -> BTreeMap<&str, (u64, u64, Verdict)> {
    let figures = table.groups.iter().map(|group| {
        let counts = group.figures.counts;
        (
            group.label.as_str(),
            (counts.repairs, counts.returned, group.figures.verdict),
        )
    });
    figures.collect()
}

#[tokio::test]
async fn the_planted_effects_are_found_in_the_shops_records_and_nothing_else_is() {
    for bench in Bench::everywhere().await {
        let act = shop(&bench).await;
        the_whole_shop(&act).await;
        who_does_it(&act).await;
        what_is_fitted_and_how(&act).await;
        what_fails(&act).await;
        over_time(&act).await;
    }
}

async fn the_whole_shop(act: &Act) {
    let db = act.app.db.read();
    let table = table(act, Dimension::ApplianceType).await;
    let counts = table.shop.counts;
    assert_eq!(
        (
            counts.returned,
            counts.followed.returned,
            counts.followed.repairs
        ),
        (104, 92, 1_057)
    );
    let rate = table.shop.rate.expect("a rate");
    near(rate.value, 0.090_693_035_85);
    let limits = rate.log_log.expect("limits");
    near(limits.low, 0.075_419_990_98);
    near(limits.high, 0.108_872_365_4);
    let thirty = rates(db, Dimension::Method, watch(0, 30), 10)
        .await
        .expect("rates");
    near(thirty.shop.rate.expect("a rate").value, 0.042_944_380_42);
    // Of the last half year, most of it read day by day.
    let recent = rates(db, Dimension::Method, watch(551, WINDOW_DAYS), 10)
        .await
        .expect("rates");
    assert_eq!(recent.shop.counts.repairs, 294);
    near(recent.shop.rate.expect("a rate").value, 0.090_101_374_75);
}

async fn who_does_it(act: &Act) {
    let table = table(act, Dimension::Technician).await;
    let told = told(&table);
    assert_eq!(
        told.get("T3").map(|row| (row.1, row.2)),
        Some((34, Verdict::Worse))
    );
    assert_eq!(told.get("T7"), Some(&(4, 1, Verdict::TooFew)));
    for quiet in ["T1", "T2", "T4", "T5", "T6"] {
        assert_eq!(
            told.get(quiet).map(|row| row.2),
            Some(Verdict::AsExpected),
            "{quiet}"
        );
    }
    let third = table
        .groups
        .iter()
        .find(|group| group.label == "T3")
        .expect("T3");
    let ratio = third.figures.ratio.expect("a ratio");
    near(ratio.value, 1.775_946_058);
    near(ratio.limits.low, 1.229_894_272);
    near(third.figures.worse.expect("a claim").held, 0.008_174_673);
    near(
        third.figures.ratio_to_rest.expect("a ratio").value,
        2.056_101_683,
    );
}

async fn what_is_fitted_and_how(act: &Act) {
    let lots = table(act, Dimension::Lot).await;
    assert_eq!(
        told(&lots)
            .get("PN-D14, batch B3")
            .map(|row| (row.0, row.1)),
        Some((24, 7))
    );
    let by_method = table(act, Dimension::TechnicianMethod).await;
    let told = told(&by_method);
    let spliced = told.get("T3, spliced").expect("a group");
    assert_eq!((spliced.0, spliced.1, spliced.2), (65, 25, Verdict::Worse));
    let worse = told.iter().filter(|(_, row)| row.2 == Verdict::Worse);
    assert_eq!(
        worse.map(|(name, _)| *name).collect::<Vec<_>>(),
        ["T3, spliced"]
    );
}

/// A component is held against all work: expected by the hazard of Nelson and Aalen over all repairs of the file, worked
/// out in Python 3.11 by its definition.
async fn what_fails(act: &Act) {
    for dimension in [Dimension::Component, Dimension::ApplianceType] {
        let table = table(act, dimension).await;
        let group = |name: &str| {
            let is_of = |label: &str| label.split([' ', ',', ':']).any(|word| word == name);
            let found = table.groups.iter().find(|group| is_of(&group.label));
            found.expect("a group").figures.clone()
        };
        let oven = group("oven");
        assert_eq!((oven.counts.repairs, oven.compared.returned), (244, 40));
        near(oven.compared.expected, 20.505_936_275_149_4);
        assert_eq!(oven.verdict, Verdict::Worse);
        let dryer = group("dryer");
        near(dryer.compared.expected, 19.312_143_245_285_6);
        assert_eq!(dryer.verdict, Verdict::Better);
        let washer = group("washer");
        near(washer.ratio.expect("a ratio").value, 1.098_459_800_480_6);
        assert_eq!(washer.verdict, Verdict::AsExpected);
    }
}

async fn over_time(act: &Act) {
    let begun_before = months(act.app.db.read(), watch(40, WINDOW_DAYS)).await;
    let begun_before = begun_before.expect("months").months;
    let first = begun_before.first().expect("a month");
    assert_eq!((first.first_on, first.is_over), (on(31), true));
    let months = months(act.app.db.read(), watch(0, WINDOW_DAYS))
        .await
        .expect("months");
    let all = months
        .months
        .iter()
        .map(|month| month.counts.returned)
        .sum::<u64>();
    assert_eq!(all, 104);
    let over = months.months.iter().filter(|month| month.is_over).count();
    assert_eq!(over, 21, "from January 2024 through September 2025");
    assert!(
        months
            .months
            .iter()
            .all(|month| month.is_over == month.point.is_some())
    );
}
