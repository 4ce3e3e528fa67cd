//! What came back so far, stratum by stratum, and what it makes the open repairs cost. No query is made here.

use std::collections::{BTreeMap, HashMap, HashSet};

use chrono::NaiveDate;
use nameplate_rules::dates::whole_days_between;
use nameplate_rules::money::Cents;
use nameplate_rules::reserve::{
    Hazard, Open, ReserveRefusal, StratumReserve, Watched, mean_cost, stratum_reserve,
};
use rust_decimal::Decimal;

use super::store::{CalledBack, Cost, Promised, Repeated, Span};

/// All that a run reads of what was repaired and what came back.
pub struct Record {
    pub promised: Vec<Promised>,
    pub called_back: Vec<CalledBack>,
    pub repeated: Vec<Repeated>,
    pub costs: Vec<Cost>,
}

/// The call by which a repair came back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Return {
    opened_on: NaiveDate,
    call_id: i64,
    completed_on: Option<NaiveDate>,
}

/// One kind of machine and component.
#[derive(Clone, Debug, Default)]
struct Stratum {
    watched: Vec<Watched>,
    open: Vec<Open>,
    /// Those completed in the month, as they were on their first day.
    new: Vec<Open>,
    costs: Vec<Cents>,
}

/// What a stratum comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Figures {
    pub appliance_type_id: i64,
    pub component_id: i64,
    pub repairs: usize,
    pub returns: usize,
    pub open_repairs: usize,
    pub expected_returns: Decimal,
    pub mean_cost: Cents,
    pub amount: Cents,
    pub new_repairs: usize,
    pub new_amount: Cents,
}

/// The strata that have open repairs, or repairs of the month, by type and component.
///
/// # Errors
/// `TooLarge`.
pub fn worked_out(record: &Record, month: Span) -> Result<Vec<Figures>, ReserveRefusal> {
    let strata = strata(record, month);
    let all: Vec<Watched> = strata.values().flat_map(|s| s.watched.clone()).collect();
    let costs: Vec<Cents> = strata.values().flat_map(|s| s.costs.clone()).collect();
    let shop = Hazard::observed(&all)?;
    let mut figures = Vec::new();
    for ((appliance_type_id, component_id), stratum) in &strata {
        if stratum.open.is_empty() && stratum.new.is_empty() {
            continue;
        }
        let hazard = Hazard::tempered(&shop, &stratum.watched)?;
        let mean_cost = mean_cost(&costs, &stratum.costs)?;
        let reserve = |repairs: &[Open]| -> Result<StratumReserve, ReserveRefusal> {
            stratum_reserve(&hazard, repairs, Decimal::from(mean_cost.0))
        };
        let (open, new) = (reserve(&stratum.open)?, reserve(&stratum.new)?);
        let back = stratum.watched.iter().filter(|repair| repair.came_back);
        figures.push(Figures {
            appliance_type_id: *appliance_type_id,
            component_id: *component_id,
            repairs: stratum.watched.len(),
            returns: back.count(),
            open_repairs: stratum.open.len(),
            expected_returns: open.returns,
            mean_cost,
            amount: open.amount,
            new_repairs: stratum.new.len(),
            new_amount: new.amount,
        });
    }
    Ok(figures)
}

/// The repairs by type of machine and component, each as far as it was watched through the month.
///
/// A repair is watched while its promise runs: what comes back later is no return under it.
fn strata(record: &Record, month: Span) -> BTreeMap<(i64, i64), Stratum> {
    let returns = returns(record);
    let costs: HashMap<i64, i64> = (record.costs.iter())
        .map(|cost| (cost.call_id, cost.cents))
        .collect();
    let mut strata: BTreeMap<(i64, i64), Stratum> = BTreeMap::new();
    for repair in &record.promised {
        let kind = (repair.appliance_type_id, repair.component_id);
        let stratum = strata.entry(kind).or_default();
        let promise_days = days(repair.written_on, repair.labour_through);
        let age_days = days(repair.written_on, month.through);
        // A return on the day of the repair itself counts as one day old, as a callback does.
        let back = returns.get(&repair.warranty_id).and_then(|back| {
            let back_days = days(repair.written_on, back.opened_on).max(1);
            (back_days <= promise_days).then_some((back, back_days))
        });
        if let Some((back, back_days)) = back {
            stratum.watched.push(Watched {
                age_days: back_days,
                came_back: true,
            });
            if back.completed_on.is_some_and(|day| day <= month.through) {
                let cents = costs.get(&back.call_id).copied().unwrap_or(0);
                stratum.costs.push(Cents(cents));
            }
        } else {
            stratum.watched.push(Watched {
                age_days: age_days.min(promise_days),
                came_back: false,
            });
            if repair.labour_through > month.through {
                stratum.open.push(Open {
                    age_days,
                    promise_days,
                });
            }
        }
        if repair.written_on >= month.from {
            stratum.new.push(Open {
                age_days: 0,
                promise_days,
            });
        }
    }
    strata
}

/// By repair the first call that brought it back. A call brings back one repair, so that what it cost counts once: a
/// callback that of a component found again on it, or the first of its earlier call; another call the newest repair that
/// did not hold.
fn returns(record: &Record) -> HashMap<i64, Return> {
    let mut of_call: HashMap<i64, Vec<&Promised>> = HashMap::new();
    for repair in &record.promised {
        of_call.entry(repair.call_id).or_default().push(repair);
    }
    let mut found: Vec<(i64, Return)> = Vec::new();
    for rows in record.called_back.chunk_by(|a, b| a.call_id == b.call_id) {
        let Some(call) = rows.first() else { continue };
        let repairs = of_call.get(&call.earlier_call_id);
        let repairs = repairs.map_or(&[][..], Vec::as_slice);
        let again = |repair: &&&Promised| {
            rows.iter()
                .any(|row| row.component_id == Some(repair.component_id))
        };
        let repair = repairs.iter().find(again).or_else(|| repairs.first());
        found.extend(repair.map(|repair| {
            let back = Return {
                opened_on: call.opened_on,
                call_id: call.call_id,
                completed_on: call.completed_on,
            };
            (repair.warranty_id, back)
        }));
    }
    let mut seen = HashSet::new();
    for row in &record.repeated {
        if seen.insert(row.call_id) {
            let back = Return {
                opened_on: row.opened_on,
                call_id: row.call_id,
                completed_on: row.completed_on,
            };
            found.push((row.warranty_id, back));
        }
    }
    found.sort_by_key(|(_, back)| (back.opened_on, back.call_id));
    let mut first: HashMap<i64, Return> = HashMap::new();
    for (warranty_id, back) in found {
        first.entry(warranty_id).or_insert(back);
    }
    first
}

/// Days from one day to a later one; none where it is not later.
fn days(from: NaiveDate, to: NaiveDate) -> u32 {
    u32::try_from(whole_days_between(from, to)).unwrap_or(0)
}
