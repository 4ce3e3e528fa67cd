//! From what is on record about a machine to the outcomes of its repairs. No query is made here.
//!
//! Known: a part on record as fitted counts as fitted, also once it is taken back unused, so that its groups (part, lot,
//! supplier) have a repair too many.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::{Datelike, NaiveDate};
use nameplate_entities::kinds::{CallState, CallbackState, Dimension, Method};
use nameplate_entities::{
    appliance, callback, failure_mode, finding, part_used, remedy, repair_outcome, service_call,
};
use nameplate_rules::callback::NO_FAULT_FOUND;
use nameplate_rules::callback::outcome::{self, Again, Decision, Repaired};
use sea_orm::ActiveEnum;

use super::super::store as callbacks;
use super::Outcome;

/// One group of one dimension.
pub type Group = (Dimension, String);

/// All that is on record about the unplanned calls of a machine.
pub struct History {
    pub machine: appliance::Model,
    /// Repair calls that were not cancelled, in the order in which they were taken.
    pub calls: Vec<service_call::Model>,
    pub findings: Vec<(finding::Model, failure_mode::Model)>,
    /// Remedies by which something was done, oldest first.
    pub remedies: Vec<remedy::Model>,
    pub parts: Vec<part_used::Model>,
    pub callbacks: Vec<callback::Model>,
}

/// Where repairs are counted; age 0 stands for those that did not come back.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Cell {
    pub group: Group,
    pub month: NaiveDate,
    pub component_id: i64,
    pub age_days: i32,
}

/// By how much a cell changes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Count {
    pub repairs: i64,
    pub same_component: i64,
}

/// Adds an outcome to the cells it is counted in, or takes it off (`by` is 1 or -1).
pub fn add(cells: &mut BTreeMap<Cell, Count>, outcome: &Outcome, by: i64) {
    let row = &outcome.row;
    let shop = (Dimension::Shop, String::new());
    for group in outcome.groups.iter().chain([&shop]) {
        let cell = Cell {
            group: group.clone(),
            month: month_of(row.completed_on),
            component_id: row.component_id,
            age_days: row.return_age_days.unwrap_or(0),
        };
        let count = cells.entry(cell).or_default();
        count.repairs += by;
        count.same_component += if row.same_component { by } else { 0 };
    }
}

/// The first day of the month.
pub fn month_of(day: NaiveDate) -> NaiveDate {
    day.with_day(1).unwrap_or(day)
}

/// What became of the machine's completed repairs, oldest first.
pub fn outcomes(history: &History) -> Vec<Outcome> {
    let of_call = by_call(history);
    let mut repairs: Vec<(&service_call::Model, Work<'_>)> = history
        .calls
        .iter()
        .filter(|call| call.state == CallState::Completed)
        .filter_map(|call| Some((call, Work::of(history, of_call.get(&call.id)?)?)))
        .collect();
    repairs.sort_by_key(|(call, _)| (call.completed_on, call.completed_at, call.id));
    let places: HashMap<i64, usize> = (repairs.iter().enumerate())
        .map(|(place, (call, _))| (call.id, place))
        .collect();
    let found = |call_id: i64| {
        of_call
            .get(&call_id)
            .map_or_else(Vec::new, |rows| as_rule(rows))
    };
    let repaired = repairs
        .iter()
        .filter_map(|(call, _)| {
            Some(Repaired {
                completed_on: call.completed_on?,
                completed_at: call.completed_at?,
                findings: found(call.id),
            })
        })
        .collect::<Vec<_>>();
    let again = history
        .calls
        .iter()
        .map(|call| {
            let callback = (history.callbacks.iter()).find(|row| row.call_id == call.id);
            Again {
                own: places.get(&call.id).copied(),
                opened_on: call.opened_on,
                opened_at: call.opened_at,
                proposed: callback.and_then(|row| places.get(&row.earlier_call_id).copied()),
                decision: callback.map_or(Decision::Standing(None), decision),
                findings: found(call.id),
            }
        })
        .collect::<Vec<_>>();
    let returns = outcome::outcomes(&repaired, &again);
    repairs
        .iter()
        .zip(returns)
        .filter_map(|((call, work), back)| {
            let back = back.and_then(|back| Some((history.calls.get(back.index)?, back)));
            work.outcome(&history.machine, call, back)
        })
        .collect()
}

type Found = (finding::Model, failure_mode::Model);

fn by_call(history: &History) -> HashMap<i64, Vec<&Found>> {
    let mut of_call: HashMap<i64, Vec<&Found>> = HashMap::new();
    for row in &history.findings {
        of_call.entry(row.0.call_id).or_default().push(row);
    }
    of_call
}

fn as_rule(rows: &[&Found]) -> Vec<nameplate_rules::callback::Finding> {
    rows.iter()
        .map(|(finding, mode)| callbacks::as_rule(finding, mode))
        .collect()
}

/// What the desk made of a callback.
fn decision(row: &callback::Model) -> Decision {
    match row.state {
        CallbackState::Rejected => Decision::Rejected,
        CallbackState::Proposed | CallbackState::Confirmed => {
            Decision::Standing(row.class.map(callbacks::class_as_rule))
        }
    }
}

/// Make and model of a machine as a group, however they are spaced and written.
#[must_use]
pub fn model_key(machine: &appliance::Model) -> String {
    let model = machine.model.trim().to_uppercase();
    format!("{}|{model}", machine.make_key)
}

/// What was done on a completed call.
struct Work<'a> {
    /// What was repaired; where nothing was found wrong, that.
    findings: Vec<&'a Found>,
    remedies: Vec<&'a remedy::Model>,
    parts: Vec<&'a part_used::Model>,
}

impl<'a> Work<'a> {
    /// `None` for a call that was only estimated: a fault was found and nothing done about it.
    fn of(history: &'a History, found: &[&'a Found]) -> Option<Self> {
        let mended = |(finding, mode): &Found| {
            mode.key != NO_FAULT_FOUND
                && history
                    .remedies
                    .iter()
                    .any(|row| row.finding_id == finding.id)
        };
        let mut findings: Vec<&Found> = found.iter().copied().filter(|row| mended(row)).collect();
        if findings.is_empty() {
            findings = (found.iter().copied())
                .filter(|(_, mode)| mode.key == NO_FAULT_FOUND)
                .collect();
        }
        if findings.is_empty() {
            return None;
        }
        let remedies: Vec<&remedy::Model> = (history.remedies.iter())
            .filter(|row| findings.iter().any(|found| found.0.id == row.finding_id))
            .collect();
        let parts = (history.parts.iter())
            .filter(|part| remedies.iter().any(|row| row.id == part.remedy_id))
            .collect();
        Some(Self {
            findings,
            remedies,
            parts,
        })
    }

    fn outcome(
        &self,
        machine: &appliance::Model,
        call: &service_call::Model,
        back: Option<(&service_call::Model, outcome::Return)>,
    ) -> Option<Outcome> {
        let completed_on = call.completed_on?;
        let technician_id = self.technician_id()?;
        let age_days = back.map(|(_, back)| i32::try_from(back.age_days).unwrap_or(i32::MAX));
        Some(Outcome {
            row: repair_outcome::Model {
                id: 0,
                call_id: call.id,
                appliance_id: machine.id,
                component_id: self.findings.first()?.0.component_id,
                technician_id,
                completed_on,
                return_call_id: back.map(|(call, _)| call.id),
                return_age_days: age_days,
                same_component: back.is_some_and(|(_, back)| back.same_component),
            },
            groups: self.groups(machine, technician_id),
        })
    }

    /// Who did most of it by minutes, of equals who worked last; where nothing was done, who found that.
    fn technician_id(&self) -> Option<i64> {
        let mut minutes: BTreeMap<i64, (i32, i64)> = BTreeMap::new();
        for row in &self.remedies {
            let (spent, last) = minutes.entry(row.done_by).or_default();
            *spent = spent.saturating_add(row.labour_minutes);
            *last = row.id;
        }
        let most = minutes.iter().max_by_key(|(_, spent)| **spent);
        let found_by = self.findings.last().map(|(finding, _)| finding.found_by);
        most.map(|(id, _)| *id).or(found_by)
    }

    fn groups(&self, machine: &appliance::Model, technician_id: i64) -> Vec<Group> {
        let mut groups = BTreeSet::from([
            (Dimension::Technician, technician_id.to_string()),
            (
                Dimension::ApplianceType,
                machine.appliance_type_id.to_string(),
            ),
            (Dimension::Model, model_key(machine)),
        ]);
        for (finding, mode) in &self.findings {
            groups.insert((Dimension::Component, finding.component_id.to_string()));
            groups.insert((Dimension::FailureMode, mode.id.to_string()));
        }
        let methods = self.remedies.iter().map(|row| row.method);
        for method in methods.chain(self.remedies.is_empty().then_some(Method::None)) {
            let word = method.to_value();
            groups.insert((
                Dimension::TechnicianMethod,
                format!("{technician_id}|{word}"),
            ));
            groups.insert((Dimension::Method, word));
        }
        for part in &self.parts {
            groups.insert((Dimension::Part, part.part_id.to_string()));
            groups.extend(part.lot_id.map(|id| (Dimension::Lot, id.to_string())));
            groups.extend(
                part.supplier_id
                    .map(|id| (Dimension::Supplier, id.to_string())),
            );
        }
        groups.into_iter().collect()
    }
}
