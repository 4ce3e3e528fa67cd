//! What the work itself lets expect: returns of a group against what the shop's record of the same kinds of work gives
//! for repairs followed as long. This compares who has hard work with who has easy work, and recent with old.
//!
//! What must stay true: expected over all repairs of the shop is exactly what returned; a kind of work too rare to tell
//! is counted with its component, then with all other rare work; the group's own returns draw its expectation toward
//! itself, so the comparison with the rest of the shop stands beside it; work that nobody else does is in that one on
//! neither side.

use serde::Serialize;
use std::collections::BTreeMap;

use super::distributions::{chi_squared_quantile, poisson_at_least, poisson_at_most};
use super::interval::TAILS;
use super::survival::{LifeTable, Observed};
use super::{Interval, real};

/// A kind of work.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Stratum {
    pub appliance_type: String,
    pub component: String,
}

/// Repairs of one stratum with the same fate so far.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Exposure {
    /// Place in the slice of strata.
    pub stratum: usize,
    pub observed: Observed,
}

/// A kind of work with fewer repairs in the shop is too rare to tell.
pub const STRATUM_REPAIRS_MIN: u64 = 20;

/// A kind of work with fewer returns in the shop is too rare to tell.
pub const STRATUM_RETURNS_MIN: u64 = 3;

/// What the shop's record shows, by kind of work.
#[derive(Clone, Debug)]
pub struct Record {
    window_days: u32,
    /// Kinds of work that are counted together.
    pools: Vec<LifeTable>,
    /// For each stratum, the place of its pool.
    pool_of: Vec<usize>,
}

/// Returns of a group, and what they compare with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Compared {
    pub returned: u64,
    /// By the whole shop's record, the group included.
    pub expected: f64,
    /// Returns at ages and in work of which the others have a record as well.
    pub returned_beside_rest: u64,
    /// By the record of the others alone.
    pub expected_by_rest: f64,
}

/// Returned by expected, with exact limits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Ratio {
    pub value: f64,
    pub limits: Interval,
}

impl Record {
    /// The record of a shop, each repair once. What names no stratum of the slice is counted with the rarest work.
    #[must_use]
    pub fn of(shop: &[Exposure], strata: &[Stratum], window_days: u32) -> Self {
        let mut by_stratum: Vec<Vec<Observed>> = vec![Vec::new(); strata.len() + 1];
        for exposure in shop {
            let place = exposure.stratum.min(strata.len());
            if let Some(own) = by_stratum.get_mut(place) {
                own.push(exposure.observed);
            }
        }
        let table = |places: &[usize]| {
            let own = places
                .iter()
                .filter_map(|place| by_stratum.get(*place))
                .flatten();
            LifeTable::of(own.copied(), window_days)
        };
        let mut record = Self {
            window_days,
            pools: Vec::new(),
            pool_of: vec![0; by_stratum.len()],
        };
        let mut rare: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for (place, stratum) in strata.iter().enumerate() {
            if !record.add_if_enough(table(&[place]), &[place]) {
                rare.entry(&stratum.component).or_default().push(place);
            }
        }
        let mut left = vec![strata.len()];
        for places in rare.into_values() {
            if !record.add_if_enough(table(&places), &places) {
                left.extend(places);
            }
        }
        record.add(table(&left), &left);
        record
    }

    fn add_if_enough(&mut self, pool: LifeTable, strata: &[usize]) -> bool {
        let seen = pool.share();
        let enough = seen.repairs >= STRATUM_REPAIRS_MIN && seen.returned >= STRATUM_RETURNS_MIN;
        if enough {
            self.add(pool, strata);
        }
        enough
    }

    fn add(&mut self, pool: LifeTable, strata: &[usize]) {
        for stratum in strata {
            if let Some(place) = self.pool_of.get_mut(*stratum) {
                *place = self.pools.len();
            }
        }
        self.pools.push(pool);
    }

    /// The pool in which a stratum is counted.
    fn pool_of(&self, stratum: usize) -> usize {
        let found = self.pool_of.get(stratum).or(self.pool_of.last());
        found.copied().unwrap_or_default()
    }

    /// Compares a group with the record; its repairs are among the shop's.
    ///
    /// # Source
    /// Expected by the cumulative hazard of Nelson and Aalen over the time each repair was watched; the R package
    /// survival 3.5-3, null `coxph(ties = "breslow")`, gives the same.
    #[must_use]
    pub fn compare(&self, group: &[Exposure]) -> Compared {
        let mut own: BTreeMap<usize, Vec<Observed>> = BTreeMap::new();
        for exposure in group {
            own.entry(self.pool_of(exposure.stratum))
                .or_default()
                .push(exposure.observed);
        }
        let mut compared = Compared::default();
        for (pool, repairs) in own {
            let own = LifeTable::of(repairs, self.window_days);
            if let Some(pool) = self.pools.get(pool) {
                compared.add(pool, &own);
            }
        }
        compared
    }
}

impl Compared {
    /// Adds what a group did in one pool. Each repair watched at an age is expected to return with the pool's share of
    /// that age, which sums up to the hazard over the time it was watched.
    fn add(&mut self, pool: &LifeTable, own: &LifeTable) {
        for all in pool.returns() {
            let mine = own.at(all.age_days);
            let watched = real(mine.at_risk);
            self.returned = self.returned.saturating_add(mine.returned);
            self.expected += watched * real(all.returned) / real(all.at_risk);
            let others = all.at_risk.saturating_sub(mine.at_risk);
            if others > 0 {
                let back = all.returned.saturating_sub(mine.returned);
                self.returned_beside_rest = self.returned_beside_rest.saturating_add(mine.returned);
                self.expected_by_rest += watched * real(back) / real(others);
            }
        }
    }

    /// Against the whole shop.
    #[must_use]
    pub fn ratio(&self) -> Option<Ratio> {
        ratio(self.returned, self.expected)
    }

    /// Against the others: the fair number in a shop of two.
    #[must_use]
    pub fn ratio_to_rest(&self) -> Option<Ratio> {
        ratio(self.returned_beside_rest, self.expected_by_rest)
    }

    /// The chance of as many returns or more, if the group's work returned as the shop's does.
    #[must_use]
    pub fn chance_of_more(&self) -> f64 {
        poisson_at_least(self.returned, self.expected)
    }

    /// The chance of as few returns or fewer.
    #[must_use]
    pub fn chance_of_fewer(&self) -> f64 {
        poisson_at_most(self.returned, self.expected)
    }
}

/// Returned by expected; `None` where nothing is expected.
#[must_use]
pub fn ratio(returned: u64, expected: f64) -> Option<Ratio> {
    if !(expected > 0.0 && expected.is_finite()) {
        return None;
    }
    let limits = exact_limits(returned);
    Some(Ratio {
        value: real(returned) / expected,
        limits: Interval {
            low: limits.low / expected,
            high: limits.high / expected,
        },
    })
}

/// Exact two-sided limits of a count.
///
/// # Source
/// Garwood, Biometrika 28 (1936) 437-442; R 4.2.2 `poisson.test`.
#[must_use]
pub fn exact_limits(returned: u64) -> Interval {
    let [under, over] = TAILS;
    let twice = 2.0 * real(returned);
    Interval {
        low: if returned == 0 {
            0.0
        } else {
            chi_squared_quantile(under, twice) / 2.0
        },
        high: chi_squared_quantile(over, twice + 2.0) / 2.0,
    }
}

#[cfg(test)]
mod tests;
