//! The invented shop as a plan: who, which machines, and two years of calls. Pure: the same seed gives
//! the same plan, and `history` plays it through the shop's own operations.
//!
//! Four things are planted for the owner to find: one range whose bake element terminal burns again
//! and again, one technician whose splices come back, one address whose supply voltage is low, and one
//! bad batch of a part.

mod batch;

use std::collections::BTreeSet;

use nameplate_entities::kinds::VisitReason;
use serde::Deserialize;

use super::dice::Dice;

pub use batch::BAD_BATCH;

/// Days of history before today.
pub const HISTORY_DAYS: i64 = 730;
const CUSTOMERS: usize = 60;
const MACHINES: usize = 90;
const CALLS: i64 = 165;

/// `fixtures/shop/shop.json`: settings, people, prices.
#[derive(Deserialize)]
pub struct ShopData {
    pub shop: ShopSettings,
    pub staff: Vec<StaffData>,
    pub jurisdiction: JurisdictionData,
    pub books: Vec<BookData>,
    pub markup: Vec<BracketData>,
    pub parts: Vec<PartData>,
}

#[derive(Deserialize)]
pub struct ShopSettings {
    pub name: String,
    pub phone: String,
    pub email: String,
    pub line1: String,
    pub city: String,
    pub region: String,
    pub postal_code: String,
    pub licence: String,
    pub tax_registration: String,
    pub time_zone: String,
    /// What an hour of a technician costs the shop.
    pub labour_cost: String,
    /// What one trip costs the shop.
    pub trip_cost: String,
}

#[derive(Deserialize)]
pub struct StaffData {
    pub name: String,
    pub email: String,
    pub role: nameplate_entities::kinds::Role,
    pub password: String,
}

#[derive(Deserialize)]
pub struct JurisdictionData {
    pub name: String,
    pub levels: Vec<LevelData>,
    pub taxable: std::collections::BTreeMap<String, String>,
    pub untaxed: std::collections::BTreeMap<String, String>,
}

#[derive(Deserialize)]
pub struct LevelData {
    pub name: String,
    pub kind: nameplate_entities::kinds::LevelKind,
    pub rate: String,
}

#[derive(Deserialize)]
pub struct BookData {
    pub name: String,
    /// Days before today from which it holds.
    pub back_days: i64,
    pub hourly: String,
    pub trip: String,
    pub diagnostic: String,
}

#[derive(Deserialize)]
pub struct BracketData {
    pub up_to: Option<String>,
    pub multiplier: String,
}

#[derive(Deserialize)]
pub struct PartData {
    pub number: String,
    pub description: String,
    pub cost: String,
    pub supplier: String,
}

#[derive(Deserialize)]
struct People {
    first_names: Vec<String>,
    last_names: Vec<String>,
    organisations: Vec<String>,
    streets: Vec<String>,
    access: Vec<String>,
}

#[derive(Deserialize)]
struct Machines {
    makes: Vec<String>,
    kinds: Vec<Kind>,
}

#[derive(Clone, Deserialize)]
struct Kind {
    #[serde(rename = "type")]
    type_key: String,
    model: String,
    volts: String,
    watts: String,
    weight: usize,
    repairs: Vec<Repair>,
}

/// A failure a kind of machine has, and how it is mended.
#[derive(Clone, Deserialize)]
pub struct Repair {
    pub component: String,
    pub mode: String,
    pub complaint: String,
    pub minutes: i32,
    pub parts: Vec<String>,
    weight: usize,
    methods: Methods,
}

#[derive(Clone, Copy, Deserialize, PartialEq, Eq)]
#[serde(rename_all = "snake_case")]
enum Methods {
    /// A part is replaced.
    Replace,
    /// A terminal is made new, or spliced.
    Terminal,
}

/// A customer to record, with one address.
pub struct CustomerPlan {
    pub organisation: bool,
    pub name: String,
    pub email: String,
    pub phone: String,
    pub line1: String,
    pub access: Option<String>,
}

/// A machine to record.
pub struct MachinePlan {
    /// Position among the customers.
    pub customer: usize,
    pub type_key: String,
    pub make: String,
    pub model: String,
    pub serial: String,
    pub volts: String,
    pub watts: String,
    /// Years before today it was made.
    pub age_years: i64,
    repairs: Vec<Repair>,
}

/// How a failure was mended.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum How {
    Replaced,
    ReTerminated,
    Spliced,
}

/// One call of the past.
pub struct CallPlan {
    /// Days before today it was opened.
    pub back_days: i64,
    /// Position among the machines.
    pub machine: usize,
    pub repair: Repair,
    pub how: How,
    /// Position among the technicians.
    pub technician: usize,
    pub billing: Billing,
    /// Volts measured at the terminals without load and under it, where somebody measured.
    pub volts_read: Option<[&'static str; 2]>,
    /// The batch of its part, where somebody read it.
    pub batch: Option<&'static str>,
    /// Why it took a second visit, if it did.
    pub further_visit: Option<VisitReason>,
}

/// How a call of the past was billed and paid.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Billing {
    /// By an estimate that the customer accepted by its link.
    Estimate { paid_after_days: Option<i64> },
    /// Free of charge: the shop stood behind its work.
    Free,
}

/// The whole plan.
pub struct Plan {
    pub customers: Vec<CustomerPlan>,
    pub machines: Vec<MachinePlan>,
    /// In the order they were opened.
    pub calls: Vec<CallPlan>,
}

/// The customer and machine whose terminal burns again: the first of each.
pub const BURNT_RANGE: usize = 0;
/// The customer with the low supply voltage: the second.
pub const LOW_VOLTAGE_CUSTOMER: usize = 1;
/// The technician whose splices come back.
pub const SPLICER: usize = 1;

/// The shop's settings, people and prices.
///
/// # Errors
/// When the committed file is not of the form this program reads.
pub fn shop_data() -> serde_json::Result<ShopData> {
    serde_json::from_str(include_str!("../../../../fixtures/shop/shop.json"))
}

/// The plan for a seed.
///
/// # Errors
/// As [`shop_data`].
pub fn plan(seed: u64) -> serde_json::Result<Plan> {
    let people: People =
        serde_json::from_str(include_str!("../../../../fixtures/shop/people.json"))?;
    let machines: Machines =
        serde_json::from_str(include_str!("../../../../fixtures/shop/machines.json"))?;
    let mut dice = Dice::seeded(seed);
    let customers = (0..CUSTOMERS)
        .map(|index| customer(&mut dice, &people, index))
        .collect();
    let machines = machines_of(&mut dice, &machines);
    let calls = calls_of(&mut dice, &machines);
    Ok(Plan {
        customers,
        machines,
        calls,
    })
}

fn customer(dice: &mut Dice, people: &People, index: usize) -> CustomerPlan {
    let organisation = people.organisations.get(index.wrapping_sub(10)).cloned();
    let pick = |dice: &mut Dice, all: &[String]| dice.one_of(all).cloned().unwrap_or_default();
    let person = format!(
        "{} {}",
        pick(dice, &people.first_names),
        pick(dice, &people.last_names)
    );
    let mailbox: String = person
        .to_lowercase()
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '.' })
        .collect();
    CustomerPlan {
        organisation: organisation.is_some(),
        name: organisation.unwrap_or(person),
        email: format!("{mailbox}.{index}@mail.example"),
        phone: format!("(217) 555-01{:02}", index + 1),
        line1: format!("{} {}", dice.between(2, 480), pick(dice, &people.streets)),
        access: dice.happens(40).then(|| pick(dice, &people.access)),
    }
}

fn machines_of(dice: &mut Dice, data: &Machines) -> Vec<MachinePlan> {
    (0..MACHINES)
        .filter_map(|index| {
            let planted = index == BURNT_RANGE || owner_of(index) == LOW_VOLTAGE_CUSTOMER;
            let kind = if planted {
                data.kinds.first()
            } else {
                dice.weighted(&data.kinds, |kind| kind.weight)
            }?;
            machine(dice, data, kind, index)
        })
        .collect()
}

/// The first sixty machines go to one customer each, the rest to every second one again.
fn owner_of(index: usize) -> usize {
    if index < CUSTOMERS {
        index
    } else {
        (index - CUSTOMERS) * 2 + 1
    }
}

fn machine(dice: &mut Dice, data: &Machines, kind: &Kind, index: usize) -> Option<MachinePlan> {
    let make = dice.one_of(&data.makes)?;
    let initial = make.chars().next()?;
    Some(MachinePlan {
        customer: owner_of(index),
        type_key: kind.type_key.clone(),
        make: make.clone(),
        model: format!("{initial}{}-{}", kind.model, dice.between(210, 980)),
        serial: format!(
            "{initial}{:02}-{:06}",
            dice.between(11, 24),
            104_000 + index * 137
        ),
        volts: kind.volts.clone(),
        watts: kind.watts.clone(),
        age_years: dice.between(3, 13),
        repairs: kind.repairs.clone(),
    })
}

fn calls_of(dice: &mut Dice, machines: &[MachinePlan]) -> Vec<CallPlan> {
    let mut calls = planted(machines);
    let mut had: BTreeSet<(usize, String)> = calls
        .iter()
        .map(|call| (call.machine, call.repair.component.clone()))
        .collect();
    for number in 0..CALLS {
        let back_days = HISTORY_DAYS - 2 - number * (HISTORY_DAYS - 12) / CALLS;
        let machine = dice.below(machines.len());
        let Some(repair) = machines
            .get(machine)
            .and_then(|machine| dice.weighted(&machine.repairs, |repair| repair.weight))
        else {
            continue;
        };
        // A machine fails in each way once by itself; what fails again is planned below.
        if !had.insert((machine, repair.component.clone())) {
            continue;
        }
        let call = ordinary_call(dice, back_days, machine, repair);
        if let Some(again) = return_of(dice, &call) {
            calls.push(again);
        }
        calls.push(call);
    }
    calls.extend(batch::calls(machines, &had));
    calls.sort_by_key(|call| std::cmp::Reverse(call.back_days));
    calls
}

fn ordinary_call(dice: &mut Dice, back_days: i64, machine: usize, repair: &Repair) -> CallPlan {
    let technician = [0, 0, SPLICER, SPLICER, 2]
        .get(dice.below(5))
        .copied()
        .unwrap_or(0);
    let splices = if technician == SPLICER { 80 } else { 15 };
    let how = match repair.methods {
        Methods::Replace => How::Replaced,
        Methods::Terminal if dice.happens(splices) => How::Spliced,
        Methods::Terminal => How::ReTerminated,
    };
    let paid_after_days = dice.happens(92).then(|| dice.between(0, 20));
    CallPlan {
        back_days,
        machine,
        repair: repair.clone(),
        how,
        technician,
        billing: Billing::Estimate { paid_after_days },
        volts_read: None,
        batch: None,
        further_visit: None,
    }
}

/// Whether and when a repair does not hold: the splicer's splices often, everything else seldom.
fn return_of(dice: &mut Dice, call: &CallPlan) -> Option<CallPlan> {
    let percent = match (call.how, call.technician) {
        (How::Spliced, SPLICER) => 45,
        (How::Spliced, _) => 10,
        _ => 4,
    };
    let age_days = dice.between(4, 27);
    // The visit is a day after the call, so the return is counted from there.
    let back_days = call.back_days - 1 - age_days;
    let returns = dice.happens(percent) && back_days > 3;
    returns.then(|| CallPlan {
        back_days,
        machine: call.machine,
        repair: call.repair.clone(),
        how: match call.how {
            How::Spliced => How::ReTerminated,
            how => how,
        },
        technician: 2,
        billing: Billing::Free,
        volts_read: None,
        batch: None,
        further_visit: None,
    })
}

/// The calls the owner is meant to find something in.
fn planted(machines: &[MachinePlan]) -> Vec<CallPlan> {
    let terminal = |machine: usize| {
        machines
            .get(machine)
            .and_then(|machine| {
                machine
                    .repairs
                    .iter()
                    .find(|repair| repair.methods == Methods::Terminal)
            })
            .cloned()
    };
    let call = |machine, back_days, technician, how, volts_read| {
        terminal(machine).map(|repair| CallPlan {
            back_days,
            machine,
            repair,
            how,
            technician,
            billing: Billing::Estimate {
                paid_after_days: Some(3),
            },
            volts_read,
            batch: None,
            further_visit: None,
        })
    };
    let low = machines
        .iter()
        .enumerate()
        .filter(|(_, machine)| machine.customer == LOW_VOLTAGE_CUSTOMER)
        .map(|(index, _)| index)
        .collect::<Vec<_>>();
    let mut calls = vec![
        call(BURNT_RANGE, 428, SPLICER, How::Spliced, None),
        call(BURNT_RANGE, 151, 0, How::Spliced, None),
    ];
    for (number, machine) in (0_i64..).zip(low) {
        let (volts, reason) = if number % 2 == 0 {
            (["221.8", "207.4"], VisitReason::PartOrdered)
        } else {
            (["220.6", "205.9"], VisitReason::NotHome)
        };
        let back_days = 310 - number * 95;
        let burnt = call(machine, back_days, 2, How::ReTerminated, Some(volts));
        calls.push(burnt.map(|call| CallPlan {
            further_visit: Some(reason),
            ..call
        }));
    }
    calls.into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_seed_gives_one_plan() {
        let first = plan(7).unwrap();
        let again = plan(7).unwrap();
        let days = |plan: &Plan| {
            plan.calls
                .iter()
                .map(|call| (call.back_days, call.machine))
                .collect::<Vec<_>>()
        };
        assert_eq!(days(&first), days(&again));
        assert_ne!(days(&first), days(&plan(8).unwrap()));
        assert_eq!(
            (first.customers.len(), first.machines.len()),
            (CUSTOMERS, MACHINES)
        );
    }

    #[test]
    fn no_machine_fails_twice_in_one_way_unless_that_was_planned() {
        let plan = plan(7).unwrap();
        let mut seen = BTreeSet::new();
        for call in plan
            .calls
            .iter()
            .filter(|call| call.billing != Billing::Free && call.machine != BURNT_RANGE)
        {
            assert!(seen.insert((call.machine, call.repair.component.clone())));
        }
    }
}
