//! The callback rate of repairs of which some are still recent: the share that has returned by the end of the window,
//! neither counting recent ones as good nor leaving them out.
//!
//! Words: *open* is a repair that has not returned and whose window still runs. What must stay true: on one day returns
//! come before the ends of watching; without open repairs the rate is returned by repairs and its limits are Wilson's;
//! a rate is never told for an age that nobody has reached.

use serde::Serialize;
use std::collections::BTreeMap;

use super::interval::{TAILS, Z, wilson};
use super::{Interval, Share, real};

/// Repairs with the same fate so far.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Observed {
    /// Whole days from completion to the day as of which is counted, returned or not.
    pub followed_days: u32,
    /// Days from completion to the first unplanned return; a return on the day of completion has 0 or 1.
    pub returned_after_days: Option<u32>,
    /// How many repairs these are.
    pub repairs: u64,
}

/// What repairs have shown within a window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Seen {
    /// Days to the return, or to the end of watching.
    age_days: u32,
    returned: bool,
}

impl Observed {
    /// `None` for repairs of today, of which nothing can be said.
    fn within(self, window_days: u32) -> Option<Seen> {
        let watched = self.followed_days.min(window_days);
        if watched == 0 {
            return None;
        }
        let after = self.returned_after_days.map(|days| days.max(1));
        let after = after.filter(|days| *days <= watched);
        Some(Seen {
            age_days: after.unwrap_or(watched),
            returned: after.is_some(),
        })
    }
}

/// How many repairs there are and what is known of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Counts {
    /// Repairs completed before the day as of which is counted.
    pub repairs: u64,
    /// Returned within the window.
    pub returned: u64,
    /// Not returned, and the window still runs.
    pub open: u64,
    /// Those completed so long ago that the window is over.
    pub followed: Share,
}

impl Counts {
    /// Counts repairs.
    #[must_use]
    pub fn of(observed: impl IntoIterator<Item = Observed>, window_days: u32) -> Self {
        let mut counts = Self::default();
        for group in observed {
            let Some(seen) = group.within(window_days) else {
                continue;
            };
            let over = group.followed_days >= window_days;
            let add = |sum: &mut u64, counted: bool| {
                *sum = sum.saturating_add(if counted { group.repairs } else { 0 });
            };
            add(&mut counts.repairs, true);
            add(&mut counts.returned, seen.returned);
            add(&mut counts.open, !seen.returned && !over);
            add(&mut counts.followed.repairs, over);
            add(&mut counts.followed.returned, seen.returned && over);
        }
        counts
    }

    /// Returned by all repairs, open ones taken for good: too low while any is open, so never shown as the rate.
    #[must_use]
    pub fn naive(&self) -> Option<f64> {
        Share {
            returned: self.returned,
            repairs: self.repairs,
        }
        .value()
    }
}

/// How many repairs were watched at an age, and how many returned at it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Age {
    pub age_days: u32,
    /// Watched on that day, those included that return or end on it.
    pub at_risk: u64,
    pub returned: u64,
}

/// Repairs by age: every age at which one returned or ended, rising.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LifeTable {
    ages: Vec<Age>,
}

impl LifeTable {
    /// Counts repairs by age within a window.
    #[must_use]
    pub fn of(observed: impl IntoIterator<Item = Observed>, window_days: u32) -> Self {
        let mut ends: BTreeMap<u32, (u64, u64)> = BTreeMap::new();
        for group in observed {
            if let Some(seen) = group.within(window_days) {
                let (all, returned) = ends.entry(seen.age_days).or_default();
                *all = all.saturating_add(group.repairs);
                *returned = returned.saturating_add(if seen.returned { group.repairs } else { 0 });
            }
        }
        let mut at_risk = 0_u64;
        let mut ages: Vec<Age> = (ends.into_iter().rev())
            .filter(|(_, (all, _))| *all > 0)
            .map(|(age_days, (all, returned))| {
                at_risk = at_risk.saturating_add(all);
                Age {
                    age_days,
                    at_risk,
                    returned,
                }
            })
            .collect();
        ages.reverse();
        Self { ages }
    }

    /// Ages at which at least one returned, rising.
    pub fn returns(&self) -> impl Iterator<Item = Age> {
        self.ages.iter().copied().filter(|age| age.returned > 0)
    }

    /// How many were watched on a day, and how many returned on it.
    #[must_use]
    pub fn at(&self, age_days: u32) -> Age {
        let place = self.ages.partition_point(|age| age.age_days < age_days);
        let next = self.ages.get(place).copied().unwrap_or_default();
        let returned = if next.age_days == age_days {
            next.returned
        } else {
            0
        };
        Age {
            age_days,
            at_risk: next.at_risk,
            returned,
        }
    }

    /// Repairs in all, and returned of them.
    #[must_use]
    pub fn share(&self) -> Share {
        Share {
            repairs: self.ages.first().map_or(0, |age| age.at_risk),
            returned: self
                .returns()
                .fold(0, |sum, age| sum.saturating_add(age.returned)),
        }
    }

    /// The share not yet returned through an age, by Kaplan and Meier.
    #[must_use]
    pub fn kept(&self, age_days: u32) -> f64 {
        (self.returns())
            .take_while(|age| age.age_days <= age_days)
            .map(|age| 1.0 - real(age.returned) / real(age.at_risk))
            .product()
    }

    /// Greenwood's sum: the relative variance of the share not returned. Infinite once all have returned.
    fn greenwood(&self) -> f64 {
        (self.returns())
            .map(|age| {
                let (returned, at_risk) = (real(age.returned), real(age.at_risk));
                returned / (at_risk * (at_risk - returned))
            })
            .sum()
    }
}

/// A callback rate and how sure it is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CallbackRate {
    /// The age it is told for: the window, or the longest that anyone has been followed if that is less. A rate at a
    /// lower age must be labeled with it.
    pub at_days: u32,
    /// The share that returned by then.
    pub value: f64,
    /// Greenwood's standard error; 0 where none or all returned.
    pub std_error: f64,
    /// As many fully followed repairs as would tell as much.
    pub effective: Effective,
    /// The limits for a screen. `None` while it is too early to tell any.
    pub shown: Option<Interval>,
    /// The limits that packages print. `None` while it is too early to tell any.
    pub log_log: Option<Interval>,
}

/// Repairs in real numbers, as if all had been followed through the window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Effective {
    pub returned: f64,
    pub repairs: f64,
}

impl From<Share> for Effective {
    fn from(share: Share) -> Self {
        Self {
            returned: real(share.returned),
            repairs: real(share.repairs),
        }
    }
}

/// The share of repairs that return within a window.
///
/// Shape: repairs in any order. Unit: days. `None` without a repair older than a day.
///
/// # Source
/// Kaplan and Meier, Journal of the American Statistical Association 53 (1958) 457-481, variance of Greenwood; log-log
/// limits as in the R package survival 3.5-3, `survfit(conf.type = "log-log")`. Limits for the screen: Wilson's at the
/// effective number of repairs (after Rothman, Journal of Chronic Diseases 31 (1978) 557-560; from memory).
#[must_use]
pub fn callback_rate(
    observed: impl IntoIterator<Item = Observed>,
    window_days: u32,
) -> Option<CallbackRate> {
    rate_of(&LifeTable::of(observed, window_days), window_days)
}

/// The rate of repairs counted by age already, within the same window.
pub(super) fn rate_of(table: &LifeTable, window_days: u32) -> Option<CallbackRate> {
    let last = table.ages.last()?;
    let kept = table.kept(window_days);
    // All are back: that holds at any later age.
    if last.returned == last.at_risk {
        return Some(all_returned(window_days, real(last.at_risk)));
    }
    let at_days = last.age_days;
    if table.returns().next().is_none() {
        let followed = if at_days == window_days {
            real(last.at_risk)
        } else {
            0.0
        };
        return Some(none_returned(at_days, followed));
    }
    let relative = table.greenwood();
    let value = 1.0 - kept;
    let repairs = value / (kept * relative);
    let spread = Z * relative.sqrt() / kept.ln().abs();
    Some(CallbackRate {
        at_days,
        value,
        std_error: kept * relative.sqrt(),
        effective: Effective {
            returned: value * repairs,
            repairs,
        },
        shown: wilson(value, repairs),
        log_log: Some(Interval {
            low: 1.0 - kept.powf((-spread).exp()),
            high: 1.0 - kept.powf(spread.exp()),
        }),
    })
}

/// No return yet: only those followed through the window say how high the rate can be.
fn none_returned(at_days: u32, followed: f64) -> CallbackRate {
    let [tail, _] = TAILS;
    let shown = wilson(0.0, followed);
    CallbackRate {
        at_days,
        value: 0.0,
        std_error: 0.0,
        effective: Effective {
            returned: 0.0,
            repairs: followed,
        },
        shown,
        log_log: shown.map(|_| Interval {
            low: 0.0,
            high: 1.0 - tail.powf(followed.recip()),
        }),
    }
}

/// Every repair returned; `last` were watched when the last of them did.
fn all_returned(at_days: u32, last: f64) -> CallbackRate {
    let [tail, _] = TAILS;
    CallbackRate {
        at_days,
        value: 1.0,
        std_error: 0.0,
        effective: Effective {
            returned: last,
            repairs: last,
        },
        shown: wilson(1.0, last),
        log_log: Some(Interval {
            low: tail.powf(last.recip()),
            high: 1.0,
        }),
    }
}

#[cfg(test)]
mod tests;
