//! Whether the failures of one machine, or of all machines of a model together, come faster or slower with age.
//!
//! What must stay true: with few failures nothing is said. The tests look for different trends and may disagree; the one
//! for screens is that of MIL-HDBK-189.

use serde::Serialize;

use super::distributions::{chi_squared_above, chi_squared_at_most, normal_two_sided};
use super::{count, real};

/// A screen says nothing about a trend of fewer failures.
pub const FAILURES_MIN: u64 = 5;

/// A trend is called clear where chance alone leads as far this often or less.
pub const CLEAR_CHANCE: f64 = 0.05;

/// The age of a failure on the first day, in days.
const FIRST_DAY: f64 = 0.5;

/// When the watch over failures stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WatchEnd {
    /// At an age that does not hang on the failures.
    AtDays(u32),
    /// With the last failure.
    AtLastFailure,
}

/// Ages at failure, rising, with the age until which they were watched. Nothing else makes one.
#[derive(Clone, Debug, PartialEq)]
pub struct Failures {
    /// In days; a failure on the first day has half a day.
    ages: Vec<f64>,
    end: f64,
    ends_with_failure: bool,
}

/// The verdict for a screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Trend {
    NoClearTrend,
    /// Failures come at ever longer distances.
    Improving,
    Worsening,
}

/// Laplace's test.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Laplace {
    /// Below zero where failures come early, which is improving.
    pub z: f64,
    pub two_sided: f64,
}

/// The test of MIL-HDBK-189.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Handbook {
    /// Large where it is improving.
    pub chi_squared: f64,
    pub degrees: f64,
    /// The chance of a value as large or larger without a trend.
    pub improving: f64,
    /// The chance of a value as small or smaller without a trend.
    pub worsening: f64,
    pub two_sided: f64,
}

/// Reverse arrangements: pairs of distances of which the later is the longer.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Arrangements {
    pub pairs: u64,
    /// Pairs without a trend.
    pub mean: f64,
    pub z: f64,
}

impl Failures {
    /// Takes ages in any order. Later ones than the end of watching do not count.
    #[must_use]
    pub fn new(ages_days: &[u32], end: WatchEnd) -> Self {
        let mut days: Vec<u32> = ages_days.to_vec();
        days.sort_unstable();
        let (last, ends_with_failure) = match end {
            WatchEnd::AtDays(days) => (days, false),
            WatchEnd::AtLastFailure => (days.last().copied().unwrap_or_default(), true),
        };
        days.retain(|age| *age <= last);
        let age = |days: u32| {
            if days == 0 {
                FIRST_DAY
            } else {
                f64::from(days)
            }
        };
        Self {
            ages: days.into_iter().map(age).collect(),
            end: age(last),
            ends_with_failure,
        }
    }

    /// All failures, the one that ended the watch included.
    pub(super) fn number(&self) -> u64 {
        count(self.ages.len())
    }

    pub(super) fn end(&self) -> f64 {
        self.end
    }

    pub(super) fn ends_with_failure(&self) -> bool {
        self.ends_with_failure
    }

    /// The ages that tell something: one that ended the watch does not, and none does of a watch of no whole day.
    fn telling(&self) -> &[f64] {
        match self.ages.split_last() {
            _ if self.end <= FIRST_DAY => &[],
            Some((_, earlier)) if self.ends_with_failure => earlier,
            _ => &self.ages,
        }
    }

    /// How many failures tell something.
    pub(super) fn telling_number(&self) -> u64 {
        count(self.telling().len())
    }

    /// The sum of logarithms of the end by each telling age, which both the test and the fit rest on.
    pub(super) fn log_sum(&self) -> f64 {
        self.telling().iter().map(|age| (self.end / age).ln()).sum()
    }

    /// Laplace's test; `None` without a failure that tells something.
    ///
    /// # Source
    /// NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.3.4.
    #[must_use]
    pub fn laplace(&self) -> Option<Laplace> {
        let ages = self.telling();
        let number = real(count(ages.len()));
        if ages.is_empty() {
            return None;
        }
        let apart: f64 = ages.iter().map(|age| age - self.end / 2.0).sum();
        let z = (12.0 * number).sqrt() * apart / (number * self.end);
        Some(Laplace {
            z,
            two_sided: normal_two_sided(z),
        })
    }

    /// The test of MIL-HDBK-189; `None` without a failure that tells something, and where all came on the last day.
    ///
    /// # Source
    /// NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.3.4 (Military Handbook test).
    #[must_use]
    pub fn handbook(&self) -> Option<Handbook> {
        Handbook::of(self.log_sum(), self.telling_number())
    }

    /// The reverse arrangements of the distances, the first from age 0; `None` with fewer than two failures.
    ///
    /// # Source
    /// NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.3.4; the half is added whatever the sign, as there.
    #[must_use]
    pub fn reverse_arrangements(&self) -> Option<Arrangements> {
        if self.ages.len() < 2 {
            return None;
        }
        let before = std::iter::once(&0.0).chain(&self.ages);
        let gaps: Vec<f64> = self
            .ages
            .iter()
            .zip(before)
            .map(|(age, before)| age - before)
            .collect();
        let longer_after = |(place, gap): (usize, &f64)| {
            gaps.iter()
                .skip(place + 1)
                .filter(|later| *later > gap)
                .count()
        };
        let pairs = count(gaps.iter().enumerate().map(longer_after).sum());
        let number = real(self.number());
        let mean = number * (number - 1.0) / 4.0;
        let deviation = ((2.0 * number + 5.0) * (number - 1.0) * number / 72.0).sqrt();
        Some(Arrangements {
            pairs,
            mean,
            z: (real(pairs) - mean + 0.5) / deviation,
        })
    }

    /// What a screen says.
    #[must_use]
    pub fn trend(&self) -> Trend {
        Trend::of(self.handbook())
    }
}

impl Handbook {
    /// The test over so many failures with this sum of logarithms. `None` for a sum of zero: all failures came on the last
    /// day watched, and ages in whole days cannot say how late on it, so that a chance of zero would be made up.
    pub(super) fn of(log_sum: f64, failures: u64) -> Option<Self> {
        if failures == 0 || log_sum <= 0.0 {
            return None;
        }
        let chi_squared = 2.0 * log_sum;
        let degrees = 2.0 * real(failures);
        let improving = chi_squared_above(chi_squared, degrees);
        let worsening = chi_squared_at_most(chi_squared, degrees);
        let two_sided = (2.0 * improving.min(worsening)).min(1.0);
        Some(Self {
            chi_squared,
            degrees,
            improving,
            worsening,
            two_sided,
        })
    }
}

impl Trend {
    /// What a screen says of a test: nothing where it rests on few failures.
    #[must_use]
    pub fn of(test: Option<Handbook>) -> Self {
        let failures_min = real(FAILURES_MIN);
        match test {
            Some(test) if test.degrees >= 2.0 * failures_min && test.two_sided <= CLEAR_CHANCE => {
                if test.improving < test.worsening {
                    Self::Improving
                } else {
                    Self::Worsening
                }
            }
            _ => Self::NoClearTrend,
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use proptest::collection::vec;
    use proptest::prelude::*;

    use super::*;
    use crate::rates::testing::near;

    /// Failures of a system watched for 1,500 days: NIST/SEMATECH e-Handbook 8.2.3.4 and 8.4.1.2.
    pub(in super::super) fn handbook_case() -> Failures {
        Failures::new(
            &[5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478],
            WatchEnd::AtDays(1500),
        )
    }

    /// R 4.2.2, and z of Laplace by reliability 0.9.0. Within a millionth.
    #[test]
    fn the_case_of_the_handbook_improves_by_two_tests_of_three() {
        let failures = handbook_case();
        let laplace = failures.laplace().expect("a test");
        near(laplace.z, -1.326_949_183);
        near(laplace.two_sided, 0.184_525_493_4);
        let handbook = failures.handbook().expect("a test");
        near(handbook.chi_squared, 37.228_081_48);
        near(handbook.degrees, 20.0);
        near(handbook.improving, 0.010_986_357_12);
        near(handbook.two_sided, 0.021_972_714_23);
        let arrangements = failures.reverse_arrangements().expect("a test");
        assert_eq!(arrangements.pairs, 33);
        near(arrangements.mean, 22.5);
        near(arrangements.z, 1.967_739_820);
        assert_eq!(failures.trend(), Trend::Improving);
    }

    #[test]
    fn four_failures_show_no_clear_trend_and_a_late_cluster_does() {
        let end = WatchEnd::AtDays(1000);
        assert_eq!(
            Failures::new(&[996, 997, 998, 999], end).trend(),
            Trend::NoClearTrend
        );
        assert_eq!(
            Failures::new(&[995, 996, 997, 998, 999], end).trend(),
            Trend::Worsening
        );
        assert_eq!(
            Failures::new(&[100, 300, 500, 700, 900], end).trend(),
            Trend::NoClearTrend
        );
        let five = [995, 996, 997, 998, 999];
        assert_eq!(
            Failures::new(&five, WatchEnd::AtLastFailure).trend(),
            Trend::NoClearTrend
        );
    }

    #[test]
    fn failures_on_the_last_day_alone_have_no_chance_and_no_trend() {
        let last = Failures::new(&[90, 90, 90, 90, 90], WatchEnd::AtDays(90));
        assert_eq!(last.handbook(), None);
        assert_eq!(last.trend(), Trend::NoClearTrend);
        let one_before = Failures::new(&[45, 90], WatchEnd::AtDays(90));
        assert!(one_before.handbook().expect("a test").two_sided > 0.1);
    }

    #[test]
    fn the_failure_that_ended_the_watch_tells_nothing() {
        let with_end = Failures::new(&[10, 40, 90, 160], WatchEnd::AtLastFailure);
        let without = Failures::new(&[10, 40, 90], WatchEnd::AtDays(160));
        assert_eq!(with_end.laplace(), without.laplace());
        assert_eq!(with_end.handbook(), without.handbook());
        assert_eq!(
            Failures::new(&[160], WatchEnd::AtLastFailure).handbook(),
            None
        );
    }

    #[test]
    fn nothing_watched_and_failures_on_the_first_day_give_no_nonsense() {
        assert_eq!(Failures::new(&[], WatchEnd::AtLastFailure).laplace(), None);
        let first = Failures::new(&[0, 0, 0], WatchEnd::AtDays(0));
        assert_eq!((first.handbook(), first.laplace()), (None, None));
        let later = Failures::new(&[0, 0, 0], WatchEnd::AtDays(9));
        assert!(later.laplace().expect("a test").z.is_finite());
        assert!(later.handbook().expect("a test").improving < 0.01);
        assert_eq!(
            Failures::new(&[7], WatchEnd::AtDays(9)).reverse_arrangements(),
            None
        );
    }

    proptest! {
        #[test]
        fn order_does_not_matter_and_chances_are_chances(ages in vec(0u32..500, 0..20), end in 0u32..600) {
            let failures = Failures::new(&ages, WatchEnd::AtDays(end));
            let backward: Vec<u32> = ages.iter().rev().copied().collect();
            prop_assert_eq!(&failures, &Failures::new(&backward, WatchEnd::AtDays(end)));
            if let Some(test) = failures.handbook() {
                prop_assert!((test.improving + test.worsening - 1.0).abs() < 1e-9);
                prop_assert!((0.0..=1.0).contains(&test.two_sided));
            }
        }
    }
}
