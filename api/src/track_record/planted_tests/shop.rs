//! The calls of the made-up shop, written as rows with ids of their own, and what became of them worked out by the program.

use std::collections::{BTreeMap, HashMap};

use chrono::{Days, NaiveDate, NaiveTime, TimeDelta};
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{CallKind, CallState, CustomerKind, Fuel, Hazard, Method, Role};
use nameplate_entities::{
    appliance, appliance_type, component, customer, failure_mode, finding, outcome_due, part,
    part_lot, part_used, remedy, service_address, service_call, staff,
};
use rust_decimal::Decimal;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, DatabaseTransaction, EntityTrait, IntoActiveModel,
    Iterable, PrimaryKeyToColumn,
};

use crate::base::testing::Bench;
use crate::base::{Act, Caller};
use crate::callbacks;

const CALLS: &str = include_str!("../../../../fixtures/worked/made-up-shop.csv");

fn epoch() -> NaiveDate {
    NaiveDate::from_ymd_opt(2024, 1, 1).expect("a day")
}

/// A day of the made-up shop.
pub(super) fn on(day: u64) -> NaiveDate {
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
pub(super) async fn shop(bench: &Bench) -> Act {
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
