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
    let mut visits: Vec<(u32, usize)> = (units.iter().enumerate())
        .flat_map(|(place, unit)| {
            let ages = unit.visits_at_days.iter().copied();
            ages.filter(|age| *age <= unit.watched_days)
                .map(move |age| (age, place))
        })
        .collect();
    visits.sort_unstable();
    let mut ends: Vec<(u32, usize)> = (units.iter().enumerate())
        .map(|(place, unit)| (unit.watched_days, place))
        .collect();
    ends.sort_unstable();
    let mut ends = ends.into_iter().peekable();
    let mut sweep = Sweep::over(units.len());
    let mut mean = 0.0;
    let mut steps = Vec::new();
    for on_day in visits.chunk_by(|a, b| a.0 == b.0) {
        let Some((age_days, _)) = on_day.first().copied() else {
            continue;
        };
        while let Some((_, place)) = ends.next_if(|(end, _)| *end < age_days) {
            sweep.leave(place);
        }
        let step = sweep.day(on_day.iter().map(|(_, place)| *place));
        mean += step;
        let std_error = (units.len() > 1).then(|| sweep.variance().sqrt());
        steps.push(Step {
            age_days,
            units: sweep.watched,
            visits: count(on_day.len()),
            mean,
            std_error,
            limits: std_error.map(|error| {
                let factor = (Z * error / mean).exp();
                Interval {
                    low: mean / factor,
                    high: mean * factor,
                }
            }),
            few: sweep.watched < UNITS_MIN,
        });
    }
    steps
}

/// What the variance is made of, carried from one age to the next: the sum over machines of the square of how far its own
/// visits lead from the mean. While a machine is watched that is its own share less what all had so far; sums of the
/// shares and of their squares stand for all machines, so that an age costs no more than its own visits.
struct Sweep {
    /// For each machine its visits, each by the share it had in the mean.
    own: Vec<f64>,
    /// Machines still watched, and over these the sum of their shares and of the squares.
    watched: u64,
    sum: f64,
    squares: f64,
    /// What a machine that is watched had on average, by the same shares.
    all: f64,
    /// The squares of those that are watched no more.
    settled: f64,
}

impl Sweep {
    fn over(units: usize) -> Self {
        Self {
            own: vec![0.0; units],
            watched: count(units),
            sum: 0.0,
            squares: 0.0,
            all: 0.0,
            settled: 0.0,
        }
    }

    /// A machine is watched no more.
    fn leave(&mut self, place: usize) {
        let own = self.own.get(place).copied().unwrap_or_default();
        self.watched = self.watched.saturating_sub(1);
        self.sum -= own;
        self.squares -= own * own;
        self.settled += (own - self.all) * (own - self.all);
    }

    /// The visits of one age, each by the place of its machine; the step of the mean.
    fn day(&mut self, visits: impl ExactSizeIterator<Item = usize>) -> f64 {
        let share = 1.0 / real(self.watched);
        let step = real(count(visits.len())) * share;
        for place in visits {
            if let Some(own) = self.own.get_mut(place) {
                self.sum += share;
                self.squares += share * (2.0 * *own + share);
                *own += share;
            }
        }
        self.all += step * share;
        step
    }

    fn variance(&self) -> f64 {
        let watched =
            self.squares - 2.0 * self.all * self.sum + real(self.watched) * self.all * self.all;
        // Machines with the same visits have none, of which rounding may leave a trace below zero.
        (watched + self.settled).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use proptest::prelude::*;

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

    /// The variance by its definition, machine by machine at each age.
    fn plain_errors(units: &[Unit]) -> Vec<f64> {
        let steps = mean_visits(units);
        let mut apart = vec![0.0; units.len()];
        let errors = steps.iter().map(|step| {
            for (unit, apart) in units.iter().zip(&mut apart) {
                if unit.watched_days >= step.age_days {
                    let own = unit.visits_at_days.iter();
                    let own = count(own.filter(|age| **age == step.age_days).count());
                    *apart += (real(own) - real(step.visits) / real(step.units)) / real(step.units);
                }
            }
            apart.iter().map(|apart| apart * apart).sum::<f64>().sqrt()
        });
        errors.collect()
    }

    proptest! {
        #[test]
        fn errors_carried_from_age_to_age_are_those_of_the_definition(
            units in prop::collection::vec((0u32..60, prop::collection::vec(0u32..60, 0..6)), 2..30),
        ) {
            let units: Vec<Unit> = (units.iter())
                .map(|(watched_days, visits)| unit(*watched_days, visits))
                .collect();
            let steps = mean_visits(&units);
            for (step, plain) in steps.iter().zip(plain_errors(&units)) {
                let error = step.std_error.expect("an error");
                prop_assert!((error - plain).abs() < 1e-6, "{error}, not {plain}");
                let watched = units.iter().filter(|unit| unit.watched_days >= step.age_days);
                prop_assert_eq!(step.units, count(watched.count()));
            }
        }
    }

    /// As many as a model with 20,000 repairs may have: a sum over all machines at each age would take minutes.
    #[test]
    fn ten_thousand_machines_are_told_at_once() {
        let units = (0..10_000_u32).map(|number| {
            let watched_days = 400 + number % 3_000;
            unit(watched_days, &[number % 397, 100 + number % 293])
        });
        let steps = mean_visits(&units.collect::<Vec<_>>());
        assert_eq!(steps.iter().map(|step| step.visits).sum::<u64>(), 20_000);
    }

    #[test]
    fn machines_without_a_visit_have_no_step() {
        assert_eq!(mean_visits(&[]), []);
        assert_eq!(mean_visits(&[unit(100, &[]), unit(50, &[])]), []);
    }
}
