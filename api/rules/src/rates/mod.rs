//! The statistics of what comes back: how often, how sure that is, against what the work itself lets expect, and who or
//! what stands out. [`judge::judge`] does it for a whole table of groups; the rest are its parts and the charts beside it.
//!
//! Words: a repair *returned* when an unplanned return on the same machine came within the *window* after it. It is
//! *followed* for as many days as have passed since its completion. A *stratum* is a kind of machine and component.
//! *Expected* is what the shop's own record lets expect of the same work, followed as long.
//!
//! What must stay true: this is the one place of the rules that counts in floating point, and no amount of money is made
//! here. Recent repairs are neither left out nor taken for good ones. Few repairs are said to be too few, and nobody is
//! named for an interval that misses the average: a claim rests on an exact tail, held down for the number of claims
//! looked at. Groups and strata are places in slices that the caller gives. Nonsense gives no answer (`None`), never a
//! wrong one and never a panic.

pub mod cost;
pub mod discovery;
mod distributions;
pub mod early_warning;
pub mod expected;
pub mod funnel;
pub mod growth;
pub mod interval;
pub mod judge;
pub mod months;
pub mod pooled;
pub mod repeat;
mod search;
pub mod shrink;
pub mod survival;
pub mod trend;
pub mod visits;

#[cfg(test)]
mod planted;
#[cfg(test)]
mod testing;

use serde::Serialize;

/// Two limits of something estimated, the lower first.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Interval {
    pub low: f64,
    pub high: f64,
}

/// How many of some repairs returned.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Share {
    pub returned: u64,
    pub repairs: u64,
}

impl Share {
    /// Returned by repairs; `None` without repairs or with more returned than repaired.
    #[must_use]
    pub fn value(self) -> Option<f64> {
        let Self { returned, repairs } = self;
        (repairs > 0 && returned <= repairs).then(|| real(returned) / real(repairs))
    }

    /// Both counts together.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self {
            returned: self.returned.saturating_add(other.returned),
            repairs: self.repairs.saturating_add(other.repairs),
        }
    }
}

/// A count as a real number. Counts beyond four thousand million, which no shop has, stay at that.
fn real(count: u64) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}

/// A length as a count.
fn count(length: usize) -> u64 {
    u64::try_from(length).unwrap_or(u64::MAX)
}
