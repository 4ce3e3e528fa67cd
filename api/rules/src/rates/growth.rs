//! How fast failures come with age: a power law through the failures of one machine or of a model.
//!
//! What must stay true: a shape below 1 is improving. It is named by what it means here, as handbooks call one minus it
//! by the same letter.

use serde::Serialize;

use super::distributions::chi_squared_quantile;
use super::interval::TAILS;
use super::trend::Failures;
use super::{Interval, real};

/// A fit needs so many failures.
pub const FAILURES_MIN: u64 = 3;

/// A screen shows a fit of so many failures or more.
pub const SCREEN_FAILURES_MIN: u64 = 5;

/// A power law: failures through an age are `scale` times the age to the power of `shape`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PowerLaw {
    pub shape: f64,
    /// Failures through the first day.
    pub scale: f64,
    /// Days between failures at the end of watching.
    pub days_between: f64,
}

/// A fitted power law.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Growth {
    /// The most likely one.
    pub likely: PowerLaw,
    /// The same with the bias of few failures taken out.
    pub unbiased: PowerLaw,
    /// Exact limits of the shape.
    pub shape_limits: Interval,
}

/// Fits a power law; `None` below [`FAILURES_MIN`] failures, or where all came on the last day.
///
/// # Source
/// Crow, AMSAA; MIL-HDBK-189; NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.2.
#[must_use]
pub fn power_law(failures: &Failures) -> Option<Growth> {
    let (number, end, sum) = (real(failures.number()), failures.end(), failures.log_sum());
    if failures.number() < FAILURES_MIN || sum <= 0.0 {
        return None;
    }
    let shape = number / sum;
    let law = |shape: f64| PowerLaw {
        shape,
        scale: number / end.powf(shape),
        days_between: end / (number * shape),
    };
    let lost = if failures.ends_with_failure() {
        2.0
    } else {
        1.0
    };
    let degrees = 2.0 * real(failures.telling_number());
    let [low, high] =
        TAILS.map(|tail| chi_squared_quantile(tail, degrees) * shape / (2.0 * number));
    Some(Growth {
        likely: law(shape),
        unbiased: law(shape * (number - lost) / number),
        shape_limits: Interval { low, high },
    })
}

#[cfg(test)]
mod tests {
    use super::super::trend::WatchEnd;
    use super::super::trend::tests::handbook_case;
    use super::*;
    use crate::rates::testing::{limits, near};

    /// NIST/SEMATECH e-Handbook 8.4.1.2 prints 0.483506, 0.2913003 and 310.234; all digits by R 4.2.2. It calls
    /// 1 - 0.483506 = 0.516494 "beta hat". Within a millionth.
    #[test]
    fn the_case_of_the_handbook_has_its_power_law() {
        let growth = power_law(&handbook_case()).expect("a fit");
        near(growth.likely.shape, 0.537_228_866_0);
        near(growth.likely.scale, 0.196_658_215_7);
        near(growth.likely.days_between, 279.210_611_1);
        near(growth.unbiased.shape, 0.483_505_979_4);
        near(growth.unbiased.scale, 0.291_300_268_6);
        near(growth.unbiased.days_between, 310.234_012_4);
        limits(Some(growth.shape_limits), 0.257_622_123_1, 0.917_844_958_5);
        near(1.0 - growth.unbiased.shape, 0.516_494_020_6);
    }

    /// Worked by hand: logarithms of 8, 4 and 2 sum up to 6 times that of 2, and the last failure ends the watch.
    #[test]
    fn a_watch_that_ends_with_a_failure_counts_that_one_less() {
        let failures = Failures::new(&[10, 20, 40, 80], WatchEnd::AtLastFailure);
        let growth = power_law(&failures).expect("a fit");
        let shape = 4.0 / (6.0 * 2.0_f64.ln());
        near(growth.likely.shape, shape);
        near(growth.likely.scale, 4.0 / 80.0_f64.powf(shape));
        near(growth.unbiased.shape, shape / 2.0);
        let [low, high] = TAILS.map(|tail| chi_squared_quantile(tail, 6.0) * shape / 8.0);
        limits(Some(growth.shape_limits), low, high);
    }

    #[test]
    fn two_failures_or_all_on_the_last_day_make_no_law() {
        assert_eq!(
            power_law(&Failures::new(&[10, 20], WatchEnd::AtDays(90))),
            None
        );
        assert_eq!(
            power_law(&Failures::new(&[90, 90, 90], WatchEnd::AtDays(90))),
            None
        );
        assert_eq!(
            power_law(&Failures::new(&[], WatchEnd::AtLastFailure)),
            None
        );
    }
}
