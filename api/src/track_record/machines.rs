//! How often the machines of a model need another repair, and whether that comes faster with age.
//!
//! A machine is watched from its first repair here on: the shop meets machines when they fail, so that counting from any
//! earlier day would call every one of them bad.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::Dimension;
use nameplate_rules::dates::whole_days_between;
use nameplate_rules::rates::pooled;
use nameplate_rules::rates::trend::{Failures, Handbook, Trend, WatchEnd};
use nameplate_rules::rates::visits::{Step, UNITS_MIN, Unit, mean_visits};
use sea_orm::ConnectionTrait;

use crate::base::Result;
use crate::callbacks::outcomes::labels;

use super::off_thread::off_thread;
use super::store::machines::{Repaired, of_model};

/// Most repairs of a model that are looked at.
const REPAIRS_MAX: u64 = 20_000;
/// Most steps of the mean that are told.
const STEPS_MAX: usize = 500;

/// The machines of a model, from the first repair of each.
pub struct Machines {
    pub today: NaiveDate,
    pub key: String,
    pub label: String,
    pub machines: usize,
    /// Repairs after the first of each machine.
    pub further_repairs: usize,
    /// Whether there were more repairs than are looked at.
    pub cut: bool,
    /// Further repairs a machine, by days since the first; of more than 500 ages the last of each few in turn.
    pub steps: Vec<Step>,
    pub watching: Watching,
    /// Of all components together.
    pub trend: Pooled,
    /// Component by component, those that failed again.
    pub components: Vec<OfComponent>,
}

/// How long machines are watched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Watching {
    /// The age of the one that is watched longest, and how many are watched as long.
    pub end: Watched,
    /// The age after which fewer are watched than say something, and how many; `None` where there is no such age.
    pub few_after: Option<Watched>,
}

/// Machines at an age.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Watched {
    pub days: u32,
    pub machines: usize,
}

impl Watching {
    fn of(units: &[Unit]) -> Self {
        let mut ends: Vec<u32> = units.iter().map(|unit| unit.watched_days).collect();
        ends.sort_unstable_by(|a, b| b.cmp(a));
        let longest = ends.first().copied().unwrap_or_default();
        let longer_than = |days: u32| ends.iter().filter(|end| **end > days).count();
        let least = usize::try_from(UNITS_MIN).unwrap_or(usize::MAX);
        let last_enough = ends.get(least.saturating_sub(1)).copied();
        Self {
            end: Watched {
                days: longest,
                machines: ends.iter().filter(|end| **end == longest).count(),
            },
            few_after: last_enough
                .filter(|days| *days < longest)
                .map(|days| Watched {
                    days,
                    machines: longer_than(days),
                }),
        }
    }
}

/// Whether further failures come faster or slower with age, over all machines together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pooled {
    pub failures: usize,
    pub trend: Trend,
    pub test: Option<Handbook>,
}

/// One component of the model, watched on each machine from its own first repair on.
pub struct OfComponent {
    pub component_id: i64,
    pub label: String,
    pub pooled: Pooled,
}

/// What the machines of a model came to, as of today; `None` for a model without repairs.
///
/// # Errors
/// Internal only.
pub async fn machines(
    db: &impl ConnectionTrait,
    model: &str,
    today: NaiveDate,
) -> Result<Option<Machines>> {
    let mut rows = of_model(db, model, REPAIRS_MAX + 1).await?;
    let most = usize::try_from(REPAIRS_MAX).unwrap_or(usize::MAX);
    let cut = rows.len() > most;
    rows.truncate(most);
    if rows.is_empty() {
        return Ok(None);
    }
    let found = off_thread("the record of a model", move || WorkedOut::of(&rows, today)).await?;
    let ids = (found.components.iter())
        .map(|(id, _)| id.to_string())
        .collect::<Vec<_>>();
    let components = labels(db, Dimension::Component, &ids).await?;
    let key = model.to_owned();
    let mut models = labels(db, Dimension::Model, std::slice::from_ref(&key)).await?;
    Ok(Some(Machines {
        today,
        label: models.remove(&key).unwrap_or_else(|| key.clone()),
        key,
        machines: found.machines,
        further_repairs: found.further_repairs,
        cut,
        steps: found.steps,
        watching: found.watching,
        trend: found.trend,
        components: (found.components.into_iter())
            .map(|(component_id, pooled)| OfComponent {
                component_id,
                label: components
                    .get(&component_id.to_string())
                    .cloned()
                    .unwrap_or_default(),
                pooled,
            })
            .collect(),
    }))
}

/// What the repairs of a model come to, without the names of anything.
struct WorkedOut {
    machines: usize,
    further_repairs: usize,
    steps: Vec<Step>,
    watching: Watching,
    trend: Pooled,
    /// Those that failed again.
    components: Vec<(i64, Pooled)>,
}

impl WorkedOut {
    fn of(rows: &[Repaired], today: NaiveDate) -> Self {
        let all = units(rows, today);
        let mut of_component: BTreeMap<i64, Vec<Repaired>> = BTreeMap::new();
        for row in rows {
            of_component
                .entry(row.component_id)
                .or_default()
                .push(row.clone());
        }
        let components = of_component
            .into_iter()
            .map(|(id, rows)| (id, Pooled::of(&units(&rows, today))));
        Self {
            machines: all.len(),
            further_repairs: rows.len() - all.len(),
            steps: thinned(mean_visits(&all)),
            watching: Watching::of(&all),
            trend: Pooled::of(&all),
            components: components
                .filter(|(_, pooled)| pooled.failures > 0)
                .collect(),
        }
    }
}

/// At most so many steps as are told: of more, the last of each few in turn, so that the mean reaches as far.
fn thinned(steps: Vec<Step>) -> Vec<Step> {
    let together = steps.len().div_ceil(STEPS_MAX).max(1);
    steps
        .chunks(together)
        .filter_map(|few| few.last().copied())
        .collect()
}

/// Each machine from its first repair to today, with the ages of the further ones. Rows stand machine by machine.
fn units(rows: &[Repaired], today: NaiveDate) -> Vec<Unit> {
    rows.chunk_by(|a, b| a.appliance_id == b.appliance_id)
        .filter_map(|rows| {
            let (first, further) = rows.split_first()?;
            Some(Unit {
                watched_days: days(first.completed_on, today),
                visits_at_days: further
                    .iter()
                    .map(|row| days(first.completed_on, row.completed_on))
                    .collect(),
            })
        })
        .collect()
}

fn days(from: NaiveDate, to: NaiveDate) -> u32 {
    u32::try_from(whole_days_between(from, to)).unwrap_or(0)
}

impl Pooled {
    fn of(units: &[Unit]) -> Self {
        let failures = units
            .iter()
            .map(|unit| Failures::new(&unit.visits_at_days, WatchEnd::AtDays(unit.watched_days)))
            .collect::<Vec<_>>();
        let test = pooled::handbook(&failures);
        Self {
            failures: units.iter().map(|unit| unit.visits_at_days.len()).sum(),
            trend: pooled::trend(&failures),
            test,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_are_watched_after_the_age_of_the_fifth_that_is_watched_longest() {
        let of = |days: &[u32]| {
            let unit = |watched_days: &u32| Unit {
                watched_days: *watched_days,
                visits_at_days: Vec::new(),
            };
            Watching::of(&days.iter().map(unit).collect::<Vec<_>>())
        };
        let watched = |days, machines| Watched { days, machines };
        let some = of(&[10, 50, 40, 30, 20, 50]);
        assert_eq!(some.end, watched(50, 2));
        assert_eq!(some.few_after, Some(watched(20, 4)));
        assert_eq!(of(&[50, 50, 50, 50, 50]).few_after, None);
        assert_eq!(of(&[50, 40]).few_after, None);
        assert_eq!(of(&[]).end, watched(0, 0));
    }

    #[test]
    fn many_steps_are_thinned_and_reach_as_far() {
        let unit = |day: u32| Unit {
            watched_days: 5_000,
            visits_at_days: vec![day],
        };
        let steps = |count: u32| mean_visits(&(1..=count).map(unit).collect::<Vec<_>>());
        assert_eq!(thinned(steps(500)), steps(500));
        for count in [501, 1_201] {
            let thin = thinned(steps(count));
            assert!((200..=STEPS_MAX).contains(&thin.len()), "{}", thin.len());
            assert_eq!(thin.last(), steps(count).last());
        }
        assert_eq!(thinned(Vec::new()), []);
    }
}
