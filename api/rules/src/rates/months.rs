//! Returns by month on a control chart.
//!
//! What must stay true: only months whose every repair has been followed through the window are on it; a month alarms by
//! the exact chance and not for passing the line of three standard deviations, which good months of a small shop pass two to
//! seven times as often as they should; a picture draws the limit by which it alarms; the mean is made from at least twelve
//! months, and a month leaves it only with a written cause.

use serde::Serialize;

use super::distributions::binomial_at_least;
use super::{Share, real};

/// A mean is made from so many months or more.
pub const BASELINE_MONTHS_MIN: usize = 12;

/// A month alarms where chance alone leads to as many returns this often or less.
pub const ALARM_CHANCE: f64 = 0.00135;

/// One followed month on the chart.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Point {
    pub value: f64,
    /// Three standard deviations below the mean, not below 0: for orientation.
    pub line_low: f64,
    /// Three standard deviations above the mean: for orientation.
    pub line_high: f64,
    /// Half way from the most returns that do not alarm to the fewest that do, as a share: a month alarms if and only if it
    /// lies above. `None` where so few repairs cannot alarm however many return.
    pub limit: Option<f64>,
    /// The chance of as many returns or more in a month like the mean.
    pub chance: f64,
    pub alarm: bool,
}

/// The mean share of the months that stand for how the shop does. `None` below [`BASELINE_MONTHS_MIN`] months.
#[must_use]
pub fn baseline(months: &[Share]) -> Option<f64> {
    let with_repairs = months.iter().filter(|month| month.repairs > 0);
    if with_repairs.count() < BASELINE_MONTHS_MIN {
        return None;
    }
    months
        .iter()
        .copied()
        .fold(Share::default(), Share::and)
        .value()
}

/// One month against a mean; `None` for a month without repairs.
///
/// # Source
/// Lines: p-chart of varying size, NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2. Alarm: the exact binomial
/// tail at the chance that three standard deviations stand for.
#[must_use]
pub fn point(month: Share, mean: f64) -> Option<Point> {
    let value = month.value()?;
    if !(0.0..=1.0).contains(&mean) {
        return None;
    }
    let deviation = (mean * (1.0 - mean) / real(month.repairs)).sqrt();
    let chance = binomial_at_least(month.returned, month.repairs, mean);
    Some(Point {
        value,
        line_low: (mean - 3.0 * deviation).max(0.0),
        line_high: (mean + 3.0 * deviation).min(1.0),
        limit: fewest_that_alarm(month.repairs, mean)
            .map(|fewest| (real(fewest) - 0.5) / real(month.repairs)),
        chance,
        alarm: chance <= ALARM_CHANCE,
    })
}

/// How many returns of so many repairs alarm at least; found by halving, as more returns are never more likely.
fn fewest_that_alarm(repairs: u64, mean: f64) -> Option<u64> {
    let (mut low, mut high) = (0, repairs.saturating_add(1));
    while low < high {
        let middle = u64::midpoint(low, high);
        if binomial_at_least(middle, repairs, mean) <= ALARM_CHANCE {
            high = middle;
        } else {
            low = middle.saturating_add(1);
        }
    }
    (low <= repairs).then_some(low)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rates::testing::{near, table, whole};

    fn months(repairs: &str, returned: &str) -> Vec<Share> {
        let counts = |text: &str| {
            table(text)
                .remove(0)
                .into_iter()
                .map(whole)
                .collect::<Vec<_>>()
        };
        let both = counts(returned).into_iter().zip(counts(repairs));
        both.map(|(returned, repairs)| Share { returned, repairs })
            .collect()
    }

    fn beyond_line(months: &[Share], mean: f64) -> Vec<usize> {
        let points = months
            .iter()
            .map(|month| point(*month, mean).expect("a point"));
        let beyond = points
            .enumerate()
            .filter(|(_, point)| point.value > point.line_high);
        beyond.map(|(place, _)| place + 1).collect()
    }

    /// Thirty wafers of fifty, NIST/SEMATECH e-Handbook 6.3.3.2: the mean 0.2313 as published, the fractions from memory.
    /// Limits computed in Python. Within a millionth.
    #[test]
    fn wafers_of_the_handbook_have_its_mean_and_two_outside_the_lines() {
        let counts =
            "12 15 8 10 4 7 16 9 14 10 5 6 17 12 22 8 10 5 13 11 20 18 24 15 9 12 7 13 9 6";
        let wafers = months(&"50 ".repeat(30), counts);
        let mean = baseline(&wafers).expect("a mean");
        near(mean, 0.231_333_333_3);
        let first = point(wafers[0], mean).expect("a point");
        near(first.line_low, 0.052_427_548_07);
        near(first.line_high, 0.410_239_118_6);
        assert_eq!(beyond_line(&wafers, mean), [15, 23]);
        let kept: Vec<Share> = (wafers.iter().enumerate())
            .filter(|(place, _)| ![14, 22].contains(place))
            .map(|(_, wafer)| *wafer)
            .collect();
        let mean = baseline(&kept).expect("a mean");
        near(mean, 0.2150);
        let first = point(kept[0], mean).expect("a point");
        near(first.line_low, 0.040_702_839_95);
        near(first.line_high, 0.389_297_160_0);
        // The twenty-first wafer, now the twentieth.
        assert_eq!(beyond_line(&kept, mean), [20]);
    }

    /// 25 weeks of purchase orders; Montgomery, Introduction to Statistical Quality Control (data from memory). Lines by
    /// number of orders computed in Python, the tail by scipy 1.17.1. Within a millionth.
    #[test]
    fn a_week_of_purchase_orders_passes_the_line_and_does_not_alarm() {
        let weeks = months(
            "100 80 80 100 110 110 100 100 90 90 110 120 120 120 110 80 80 80 90 100 100 100 100 90 90",
            "12 8 6 9 10 12 11 16 10 6 20 15 9 8 6 8 10 7 5 8 5 8 10 6 9",
        );
        let mean = baseline(&weeks).expect("a mean");
        near(mean, 234.0 / 2450.0);
        let lines = "80 0.1940934205\n90 0.1884553519\n100 0.1836857134\n110 0.1795822535\n120 0.1760030632";
        for row in table(lines) {
            let week = Share {
                returned: 0,
                repairs: whole(row[0]),
            };
            near(point(week, mean).expect("a point").line_high, row[1]);
        }
        assert_eq!(beyond_line(&weeks, mean), [11]);
        let eleventh = point(weeks[10], mean).expect("a point");
        near(eleventh.value, 0.181_818_181_8);
        near(
            (eleventh.value - mean) / (eleventh.line_high - mean) * 3.0,
            3.079_786_146,
        );
        near(eleventh.chance, 0.003_700_169_462);
        assert!(!eleventh.alarm);
    }

    /// At 6 in 100: repairs, the chance that a good month passes the line, the fewest returns that alarm; scipy 1.17.1.
    const GOOD_MONTHS: &str = "
        8 0.009622943 4
        12 0.004341312 5
        20 0.005634142 6
        40 0.009058088 9
        60 0.002868976 11";

    #[test]
    fn the_exact_rule_alarms_later_than_the_line() {
        for row in table(GOOD_MONTHS) {
            let repairs = whole(row[0]);
            let points = || {
                (0..=repairs).filter_map(|returned| {
                    Some((returned, point(Share { returned, repairs }, 0.06)?))
                })
            };
            let (_, passing) = points()
                .find(|(_, point)| point.value > point.line_high)
                .expect("a point");
            near(passing.chance, row[1]);
            let (returned, _) = points().find(|(_, point)| point.alarm).expect("an alarm");
            assert_eq!(returned, whole(row[2]));
        }
    }

    #[test]
    fn a_month_alarms_if_and_only_if_it_lies_above_its_limit() {
        for (repairs, mean) in [
            (1, 0.06),
            (3, 0.06),
            (12, 0.06),
            (60, 0.06),
            (40, 0.0),
            (40, 1.0),
        ] {
            for returned in 0..=repairs {
                let month = Share { returned, repairs };
                let point = point(month, mean).expect("a point");
                let above = point.limit.is_some_and(|limit| point.value > limit);
                assert_eq!(above, point.alarm, "{returned} of {repairs} at {mean}");
            }
        }
        // Two of two are not rare enough at 6 in 100, and of twelve five are the fewest.
        let limit = |repairs: u64| {
            let month = Share {
                returned: 0,
                repairs,
            };
            point(month, 0.06).expect("a point").limit
        };
        assert_eq!(limit(2), None);
        near(limit(12).expect("a limit"), 4.5 / 12.0);
    }

    #[test]
    fn eleven_months_make_no_mean_and_an_empty_month_is_no_point() {
        let month = Share {
            returned: 1,
            repairs: 20,
        };
        assert_eq!(baseline(&[month; 11]), None);
        assert_eq!(baseline(&[month; 12]), Some(0.05));
        let mut months = vec![month; 11];
        months.push(Share::default());
        assert_eq!(baseline(&months), None);
        assert_eq!(point(Share::default(), 0.05), None);
        assert_eq!(point(month, f64::NAN), None);
    }
}
