//! Limits of a share of repairs, in the four ways packages print them. [`wilson`] is the one shown on screens.
//!
//! What must stay true: no repairs give no limits; limits lie within 0 and 1. An interval is for looking, not for
//! claiming: that it misses the shop's average proves nothing about anyone.

use super::distributions::beta_quantile;
use super::{Interval, Share, real};

/// The normal quantile of two-sided limits that hold 95 times in 100.
pub(super) const Z: f64 = 1.959_963_984_540_054;

/// The two tails of two-sided limits that hold 95 times in 100.
pub(super) const TAILS: [f64; 2] = [0.025, 0.975];

/// Wilson's limits of a share seen on so many repairs, which need not be a whole number.
///
/// # Source
/// Wilson, Journal of the American Statistical Association 22 (1927) 209-212; the form without continuity correction of
/// Newcombe, Statistics in Medicine 17 (1998) 857-872.
#[must_use]
pub fn wilson(share: f64, repairs: f64) -> Option<Interval> {
    if !(repairs > 0.0 && repairs.is_finite() && (0.0..=1.0).contains(&share)) {
        return None;
    }
    let square = Z * Z;
    let whole = 1.0 + square / repairs;
    let centre = (share + square / (2.0 * repairs)) / whole;
    let spread = share * (1.0 - share) / repairs + square / (4.0 * repairs * repairs);
    let half = Z * spread.sqrt() / whole;
    Some(bounded(centre - half, centre + half))
}

/// Wilson's limits with continuity correction.
///
/// # Source
/// Newcombe, Statistics in Medicine 17 (1998) 857-872; scipy 1.17.1 `binomtest(...).proportion_ci("wilsoncc")`. R's
/// `prop.test` lowers its correction where half returned, and prints another interval there.
#[must_use]
pub fn wilson_corrected(counts: Share) -> Option<Interval> {
    let share = counts.value()?;
    let (n, rest) = (real(counts.repairs), 1.0 - share);
    let square = Z * Z;
    let root = |sign: f64| {
        let inner = 4.0 * share * (n * rest + sign) - 2.0 * sign + square - 1.0 / n;
        Z * inner.max(0.0).sqrt()
    };
    let centre = 2.0 * n * share + square;
    let whole = 2.0 * (n + square);
    let low = if counts.returned == 0 {
        0.0
    } else {
        (centre - 1.0 - root(1.0)) / whole
    };
    let all = counts.returned == counts.repairs;
    let high = if all {
        1.0
    } else {
        (centre + 1.0 + root(-1.0)) / whole
    };
    Some(bounded(low, high))
}

/// Exact limits, which hold at least 95 times in 100.
///
/// # Source
/// Clopper and Pearson, Biometrika 26 (1934) 404-413; R 4.2.2 `binom.test`.
#[must_use]
pub fn clopper_pearson(counts: Share) -> Option<Interval> {
    counts.value()?;
    let (x, rest) = (
        real(counts.returned),
        real(counts.repairs - counts.returned),
    );
    let [under, over] = TAILS;
    let low = if counts.returned == 0 {
        0.0
    } else {
        beta_quantile(under, x, rest + 1.0)
    };
    let all = counts.returned == counts.repairs;
    let high = if all {
        1.0
    } else {
        beta_quantile(over, x + 1.0, rest)
    };
    Some(bounded(low, high))
}

/// Jeffreys' limits as packages return them: they leave out the 0 of none returned and the 1 of all returned.
///
/// # Source
/// Brown, Cai and DasGupta, Statistical Science 16 (2001) 101-133; statsmodels 0.15.0 `proportion_confint`.
#[must_use]
pub fn jeffreys(counts: Share) -> Option<Interval> {
    counts.value()?;
    let (x, rest) = (
        real(counts.returned),
        real(counts.repairs - counts.returned),
    );
    let [low, high] = TAILS.map(|tail| beta_quantile(tail, x + 0.5, rest + 0.5));
    Some(bounded(low, high))
}

/// Jeffreys' limits for a screen: with the 0 of none returned and the 1 of all returned.
#[must_use]
pub fn jeffreys_shown(counts: Share) -> Option<Interval> {
    let raw = jeffreys(counts)?;
    Some(Interval {
        low: if counts.returned == 0 { 0.0 } else { raw.low },
        high: if counts.returned == counts.repairs {
            1.0
        } else {
            raw.high
        },
    })
}

/// Against noise of rounding.
fn bounded(low: f64, high: f64) -> Interval {
    Interval {
        low: low.clamp(0.0, 1.0),
        high: high.clamp(0.0, 1.0),
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unreadable_literal, reason = "figures as packages print them")]

    use proptest::prelude::*;

    use super::*;
    use crate::rates::count;
    use crate::rates::distributions::binomial_at_least;
    use crate::rates::testing::{limits, near, table, whole};

    fn share(returned: u64, repairs: u64) -> Share {
        Share { returned, repairs }
    }

    fn plain(counts: Share) -> Option<Interval> {
        wilson(counts.value()?, real(counts.repairs))
    }

    /// x and n, then Wilson, Wilson corrected, Clopper-Pearson, Jeffreys: statsmodels 0.15.0 `proportion_confint` and R
    /// 4.2.2 `prop.test`, `binom.test`, `qbeta`; corrected at 2/4 and 1/29 scipy 1.17.1. The first four are illustrations
    /// of Newcombe (1998). Within a millionth.
    const TABLE: &str = "
        81 263  0.2552885199 0.3662095770  0.2535086823 0.3681762010  0.2527367456 0.3676219226  0.2545219350 0.3656474992
        15 148  0.0623863995 0.1604872417  0.0597782084 0.1644497794  0.0578440101 0.1616504903  0.0604485170 0.1576431435
        0 20  0.0 0.1611251581  0.0 0.2004533450  0.0 0.1684334710  0.0000242464785 0.1166389829
        1 29  0.0061132143 0.1717552188  0.0018026402 0.1962817510  0.0008726469 0.1776442955  0.0037461736 0.1500776860
        0 4  0.0 0.4898908365  0.0 0.6042269655  0.0 0.6023646356  0.000115332788 0.4447626177
        1 4  0.0455872608 0.6993581574  0.0131911618 0.7805734799  0.0063094632 0.8058795503  0.0284708951 0.7162483204
        2 4  0.1500389892 0.8499610108  0.0918992292 0.9081007708  0.0675859865 0.9324140135  0.1227538828 0.8772461172
        4 4  0.5101091635 1.0  0.3957730345 1.0  0.3976353644 1.0  0.5552373823 0.9998846672
        9 60  0.0809744058 0.2611458907  0.0750146890 0.2707691186  0.0709561953 0.2657404478  0.0768980855 0.2558764828";

    #[test]
    fn limits_of_a_share_are_those_of_newcombe_and_of_the_packages() {
        for row in table(TABLE) {
            let counts = share(whole(row[0]), whole(row[1]));
            let ways = [plain, wilson_corrected, clopper_pearson, jeffreys];
            for (way, printed) in ways.into_iter().zip(row[2..].chunks(2)) {
                limits(way(counts), printed[0], printed[1]);
            }
        }
    }

    /// The closed forms of Clopper and Pearson's limits.
    #[test]
    fn none_or_all_returned_has_exact_limits_in_closed_form() {
        let none = clopper_pearson(share(0, 20)).expect("limits");
        near(none.high, 1.0 - 0.025_f64.powf(1.0 / 20.0));
        let all = clopper_pearson(share(20, 20)).expect("limits");
        near(all.low, 0.025_f64.powf(1.0 / 20.0));
    }

    #[test]
    fn what_is_shown_includes_what_was_seen() {
        limits(jeffreys_shown(share(0, 20)), 0.0, 0.1166389829);
        limits(jeffreys_shown(share(4, 4)), 0.5552373823, 1.0);
    }

    #[test]
    fn no_repairs_or_more_returned_than_repaired_give_no_limits() {
        for counts in [share(0, 0), share(1, 0), share(3, 2)] {
            assert_eq!(wilson_corrected(counts), None);
            assert_eq!(clopper_pearson(counts), None);
            assert_eq!(jeffreys(counts), None);
        }
        for (value, n) in [
            (0.5, 0.0),
            (0.5, -1.0),
            (f64::NAN, 4.0),
            (1.5, 4.0),
            (0.5, f64::INFINITY),
        ] {
            assert_eq!(wilson(value, n), None);
        }
    }

    /// The chance of each number of returns of so many repairs.
    fn chances(repairs: u64, chance: f64) -> Vec<f64> {
        let at_least = |returned| binomial_at_least(returned, repairs, chance);
        (0..=repairs)
            .map(|returned| at_least(returned) - at_least(returned + 1))
            .collect()
    }

    /// n, then for Wilson, Wilson corrected, Clopper-Pearson and Jeffreys the least and the mean chance that the limits
    /// hold the rate, and their mean width, over rates of 1 to 20 in 100 by quarters: computed exactly with scipy 1.17.1.
    /// Within one of the last digit printed.
    const HOLDING: &str = "
        4 0.8318 0.9448 0.549 0.9509 0.9845 0.663 0.9751 0.9904 0.674 0.8945 0.9690 0.532
        10 0.8382 0.9534 0.369 0.9543 0.9810 0.437 0.9754 0.9888 0.423 0.9044 0.9718 0.343
        30 0.9034 0.9552 0.212 0.9616 0.9775 0.241 0.9506 0.9799 0.232 0.8887 0.9536 0.202
        100 0.9206 0.9507 0.115 0.9549 0.9690 0.124 0.9544 0.9694 0.122 0.8806 0.9495 0.112";

    #[test]
    fn wilsons_limits_hold_the_rate_as_often_as_they_say_on_average() {
        let rates: Vec<f64> = (4..=80).map(|quarter| f64::from(quarter) / 400.0).collect();
        for row in table(HOLDING) {
            let n = whole(row[0]);
            let ways = [plain, wilson_corrected, clopper_pearson, jeffreys];
            for (way, printed) in ways.into_iter().zip(row[1..].chunks(3)) {
                let found: Vec<Interval> = (0..=n).filter_map(|x| way(share(x, n))).collect();
                let (mut least, mut holding, mut width) = (1.0_f64, 0.0, 0.0);
                for rate in &rates {
                    let mut holds = 0.0;
                    for (chance, limits) in chances(n, *rate).into_iter().zip(&found) {
                        holds += if (limits.low..=limits.high).contains(rate) {
                            chance
                        } else {
                            0.0
                        };
                        width += chance * (limits.high - limits.low);
                    }
                    least = least.min(holds);
                    holding += holds;
                }
                let number = real(count(rates.len()));
                let computed = [least, holding / number, width / number];
                for ((found, printed), digit) in
                    computed.into_iter().zip(printed).zip([1e-4, 1e-4, 1e-3])
                {
                    assert!((found - printed).abs() < digit, "{n}: {found} {printed}");
                }
            }
        }
    }

    /// 80 repairs at a true rate of 6 in 100: Wilson's lower limit passes the rate in 5.0177 of 100 cases and not in 2.5,
    /// the exact one in 2.1288; scipy 1.17.1.
    #[test]
    fn an_interval_read_as_a_test_accuses_twice_as_often_as_it_says() {
        let accuses = |way: fn(Share) -> Option<Interval>| -> f64 {
            let all = chances(80, 0.06).into_iter().zip(0..);
            let above =
                all.filter(|(_, x)| way(share(*x, 80)).is_some_and(|found| found.low > 0.06));
            above.map(|(chance, _)| chance).sum()
        };
        assert!((accuses(plain) - 0.050_177).abs() < 1e-6);
        assert!((accuses(clopper_pearson) - 0.021_288).abs() < 1e-6);
    }

    proptest! {
        #[test]
        fn limits_lie_within_none_and_all_and_around_what_was_seen(n in 1u64..3_000, part in 0.0..=1.0_f64) {
            let x = (0..=n).rev().find(|x| real(*x) <= part * real(n)).unwrap_or(0);
            let seen = real(x) / real(n);
            for way in [plain, wilson_corrected, clopper_pearson, jeffreys_shown] {
                let found = way(share(x, n)).expect("limits");
                prop_assert!(found.low >= 0.0 && found.high <= 1.0);
                prop_assert!(found.low <= seen + 1e-12 && seen <= found.high + 1e-12);
            }
        }

        #[test]
        fn nothing_counted_makes_a_quantile_hang(x in any::<u64>(), n in any::<u64>()) {
            for way in [plain, wilson_corrected, clopper_pearson, jeffreys_shown] {
                prop_assert_eq!(way(share(x, n)).is_some(), n > 0 && x <= n);
            }
        }
    }
}
