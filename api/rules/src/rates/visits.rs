//! How many visits a machine has had on average by an age, with several visits a machine.
//!
//! Words: a *unit* is one machine. What must stay true: visits of one machine go together, so the variance is that of
//! machines and not of visits; a step that rests on few machines is marked, to be drawn in gray.

use serde::Serialize;

use super::interval::Z;
use super::{Interval, count, real};

/// A step that rests on fewer machines is marked.
pub const UNITS_MIN: u64 = 5;

/// One machine.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Unit {
    /// Age until which it has been watched.
    pub watched_days: u32,
    /// Its ages at visits, in any order; two on one day stand twice. Later ones than watched do not count.
    pub visits_at_days: Vec<u32>,
}

/// The mean at one age with visits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Step {
    pub age_days: u32,
    /// Machines still watched.
    pub units: u64,
    /// Visits at this age.
    pub visits: u64,
    /// Visits a machine through this age.
    pub mean: f64,
    /// `None` where there is only one machine.
    pub std_error: Option<f64>,
    pub limits: Option<Interval>,
    /// Rests on fewer machines than [`UNITS_MIN`].
    pub few: bool,
}

/// The mean number of visits a machine, at each age with a visit.
///
/// # Source
/// Mean cumulative function: Nelson, Technometrics 37 (1995); robust variance of Lawless and Nadeau, Technometrics 37
/// (1995) 158-168. R package survival 3.5-3 `survfit(Surv(start, stop, status) ~ 1, id = id)`.
#[must_use]
pub fn mean_visits(units: &[Unit]) -> Vec<Step> {
    let counted = |unit: &Unit, age: u32| {
        let on_day = unit
            .visits_at_days
            .iter()
            .filter(|day| **day == age)
            .count();
        if age <= unit.watched_days {
            count(on_day)
        } else {
            0
        }
    };
    let mut ages: Vec<u32> = units
        .iter()
        .flat_map(|unit| {
            unit.visits_at_days
                .iter()
                .filter(|age| **age <= unit.watched_days)
        })
        .copied()
        .collect();
    ages.sort_unstable();
    ages.dedup();
    let mut mean = 0.0;
    // For each machine, how far its own visits lead from the mean so far.
    let mut apart = vec![0.0; units.len()];
    let mut steps = Vec::new();
    for age_days in ages {
        let watched = count(
            units
                .iter()
                .filter(|unit| unit.watched_days >= age_days)
                .count(),
        );
        let visits = units.iter().map(|unit| counted(unit, age_days)).sum();
        let step = real(visits) / real(watched);
        mean += step;
        for (unit, apart) in units.iter().zip(&mut apart) {
            if unit.watched_days >= age_days {
                *apart += (real(counted(unit, age_days)) - step) / real(watched);
            }
        }
        let variance: f64 = apart.iter().map(|apart| apart * apart).sum();
        let std_error = (units.len() > 1).then(|| variance.sqrt());
        steps.push(Step {
            age_days,
            units: watched,
            visits,
            mean,
            std_error,
            limits: std_error.map(|error| {
                let factor = (Z * error / mean).exp();
                Interval {
                    low: mean / factor,
                    high: mean * factor,
                }
            }),
            few: watched < UNITS_MIN,
        });
    }
    steps
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::rates::testing::{limits, near, table, whole};

    fn unit(watched_days: u32, visits_at_days: &[u32]) -> Unit {
        Unit {
            watched_days,
            visits_at_days: visits_at_days.to_vec(),
        }
    }

    /// Replacements of valve seats on 41 engines (Nelson 1995): age, at risk, events, mean, robust error, limits; R
    /// package survival 3.5-3. Limits are printed to eight decimals. Within a millionth.
    const STEPS: &str = "
        61 41 1 0.02439024390 0.02409096577 0.00351932 0.16903362
        139 41 2 0.2195121951 0.07326981196 0.11411444 0.42225685
        298 41 1 0.4634146341 0.1096072757 0.29150280 0.73671032
        404 40 1 0.6835365854 0.1359389573 0.46289052 1.00935803
        573 40 1 0.9585365854 0.1689581438 0.67853171 1.35408908
        604 22 1 1.059718685 0.1850609881 0.75256394 1.49223690
        640 16 1 1.243542214 0.2263244176 0.87044640 1.77655653
        653 9 2 1.542687514 0.3116560748 1.03828585 2.29212867";

    #[test]
    fn valve_seats_have_the_mean_and_the_robust_error_published() {
        let mut engines: BTreeMap<u64, Unit> = BTreeMap::new();
        for row in table(include_str!(
            "../../../../fixtures/worked/rates/valve-seats.csv"
        )) {
            let engine = engines.entry(whole(row[0])).or_default();
            let day = u32::try_from(whole(row[1])).expect("a day");
            engine.watched_days = engine.watched_days.max(day);
            if row[2] > 0.5 {
                engine.visits_at_days.push(day);
            }
        }
        let engines: Vec<Unit> = engines.into_values().collect();
        assert_eq!(engines.len(), 41);
        let steps = mean_visits(&engines);
        assert_eq!(steps.iter().map(|step| step.visits).sum::<u64>(), 48);
        for row in table(STEPS) {
            let age = u32::try_from(whole(row[0])).expect("a day");
            let step = steps
                .iter()
                .find(|step| step.age_days == age)
                .expect("a step");
            assert_eq!((step.units, step.visits), (whole(row[1]), whole(row[2])));
            near(step.mean, row[3]);
            near(step.std_error.expect("an error"), row[4]);
            limits(step.limits, row[5], row[6]);
        }
    }

    #[test]
    fn one_machine_has_a_mean_and_no_error_and_is_few() {
        let steps = mean_visits(&[unit(100, &[40, 20, 101])]);
        let seen: Vec<_> = steps
            .iter()
            .map(|step| (step.age_days, step.mean, step.std_error))
            .collect();
        assert_eq!(seen, [(20, 1.0, None), (40, 2.0, None)]);
        assert!(steps.iter().all(|step| step.few && step.limits.is_none()));
    }

    #[test]
    fn machines_without_a_visit_have_no_step() {
        assert_eq!(mean_visits(&[]), []);
        assert_eq!(mean_visits(&[unit(100, &[]), unit(50, &[])]), []);
    }
}
