//! Whether a share of returns is too large for chance: limits to draw around a target by number of repairs, and the exact
//! tails on which a claim may rest.
//!
//! What must stay true: few repairs have wide limits, so no ranking is made of them; against a target taken from the same
//! small shop the exact test of one against all others is asked, as the target is then itself estimated.

use serde::Serialize;

use super::distributions::{binomial_at_least, binomial_at_most, hypergeometric_at_least};
use super::{Interval, Share, real};

/// The limits of a funnel at one number of repairs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Funnel {
    /// Chance alone leads above or below these 25 times in 1,000 each ("2 sigma").
    pub inner: Interval,
    /// Chance alone leads above or below these once in 1,000 each ("3 sigma").
    pub outer: Interval,
}

/// The limits of a funnel around a target share.
///
/// # Source
/// Spiegelhalter, Statistics in Medicine 24 (2005) 1185-1202 (exact binomial limits, interpolated; from memory).
#[must_use]
pub fn funnel(repairs: u64, target: f64) -> Option<Funnel> {
    let between = |low, high| {
        Some(Interval {
            low: limit(repairs, target, low)?,
            high: limit(repairs, target, high)?,
        })
    };
    Some(Funnel {
        inner: between(0.025, 0.975)?,
        outer: between(0.001, 0.999)?,
    })
}

/// Where a share of so many repairs lies below with this chance, interpolated between whole numbers of returns.
fn limit(repairs: u64, target: f64, chance: f64) -> Option<f64> {
    if repairs == 0 || !(0.0 < target && target < 1.0) {
        return None;
    }
    let at_most = |returned| binomial_at_most(returned, repairs, target);
    let (mut least, mut enough) = (0, repairs);
    while least < enough {
        let middle = least.midpoint(enough);
        if at_most(middle) >= chance {
            enough = middle;
        } else {
            least = middle + 1;
        }
    }
    let reached = at_most(least);
    let before = least.checked_sub(1).map_or(0.0, at_most);
    let back = (reached - chance) / (reached - before);
    Some(((real(least) - back) / real(repairs)).clamp(0.0, 1.0))
}

/// The chance of as many returns or more where each repair returns with the target's chance.
#[must_use]
pub fn at_least(seen: Share, target: f64) -> Option<f64> {
    seen.value()?;
    (0.0..=1.0)
        .contains(&target)
        .then(|| binomial_at_least(seen.returned, seen.repairs, target))
}

/// The chance of as many returns or more among these repairs if they were drawn by lot from them and all others.
///
/// # Source
/// Fisher's exact test, one-sided "greater"; Fisher, The Design of Experiments (1935); R 4.2.2 `fisher.test`.
#[must_use]
pub fn exact_greater(own: Share, others: Share) -> Option<f64> {
    own.value()?;
    others.value()?;
    hypergeometric_at_least(own, own.and(others))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::rates::testing::{near, table, whole, within};

    fn share(returned: u64, repairs: u64) -> Share {
        Share { returned, repairs }
    }

    /// Infant heart surgery in twelve hospitals ("Surgical" in the examples of BUGS): operations, deaths.
    pub(crate) const HOSPITALS: [(u64, u64); 12] = [
        (47, 0),
        (148, 18),
        (119, 8),
        (810, 46),
        (211, 8),
        (196, 13),
        (148, 9),
        (215, 31),
        (207, 14),
        (97, 8),
        (256, 29),
        (360, 24),
    ];

    /// Place among the hospitals, limits .001 .025 .975 .999, binomial tail, Fisher's test: scipy 1.17.1 `binom` and
    /// `fisher_exact`; the tail of the eighth also R 4.2.2 `pbinom`. Within a millionth, or half of the last digit printed.
    const LIMITS: &str = "
        0 0 0 0.14642851 0.20574490 1 1
        1 0.01361736 0.03089959 0.11521957 0.14493476 0.025649463 0.022387429
        3 0.04641637 0.05577861 0.09182740 0.10318590 0.97667443 0.9902213
        4 0.02189994 0.03825936 0.10867487 0.13249794 0.98958061 0.99160203
        7 0.02264865 0.03842235 0.10850538 0.13221786 0.00028518366 0.00014941361
        10 0.02648958 0.04140412 0.10546477 0.12713195 0.014938009 0.011076108";

    #[test]
    fn of_twelve_hospitals_one_lies_outside_the_outer_limits() {
        let seen = HOSPITALS.map(|(repairs, returned)| share(returned, repairs));
        let all = seen.into_iter().fold(Share::default(), Share::and);
        let target = all.value().expect("a share");
        near(target, table("0.07391613362")[0][0]);
        for row in table(LIMITS) {
            let own = seen[usize::try_from(whole(row[0])).expect("a place")];
            let found = funnel(own.repairs, target).expect("limits");
            let limits = [
                found.outer.low,
                found.inner.low,
                found.inner.high,
                found.outer.high,
            ];
            for (limit, printed) in limits.into_iter().zip(&row[1..]) {
                within(limit, *printed, 1e-6);
            }
            near(at_least(own, target).expect("a tail"), row[5]);
            let others = share(all.returned - own.returned, all.repairs - own.repairs);
            near(exact_greater(own, others).expect("a tail"), row[6]);
        }
        let outside =
            |own: &&Share| own.value() > funnel(own.repairs, target).map(|found| found.outer.high);
        assert_eq!(
            seen.iter().filter(outside).collect::<Vec<_>>(),
            [&share(31, 215)]
        );
        near(
            at_least(share(31, 215), target).expect("a tail"),
            table("2.85183656799e-04")[0][0],
        );
    }

    /// Fisher's lady tasting tea: one-sided 0.2428571429, and twice that on both sides, as the table is symmetric; R
    /// 4.2.2. The second by R as well. Within a millionth.
    #[test]
    fn the_exact_test_gives_what_fisher_and_r_give() {
        let tea = exact_greater(share(3, 4), share(1, 4)).expect("a tail");
        near(tea, table("0.2428571429")[0][0]);
        near(2.0 * tea, table("0.4857142857")[0][0]);
        let four = exact_greater(share(3, 4), share(20, 196)).expect("a tail");
        near(four, table("0.004982951985")[0][0]);
        near(at_least(share(3, 4), 0.10).expect("a tail"), 0.0037);
    }

    /// scipy 1.17.1: two or three of four pass the outer limit. Within a millionth.
    #[test]
    fn at_four_repairs_the_outer_limit_is_no_ground_for_a_claim() {
        let printed = "0.03 0.4559902261\n0.06 0.4977092869\n0.08 0.6227496603\n0.12 0.7174216120";
        for row in table(printed) {
            near(funnel(4, row[0]).expect("limits").outer.high, row[1]);
        }
    }

    #[test]
    fn nonsense_has_no_limits_and_no_tail() {
        for (repairs, target) in [(0, 0.1), (4, 0.0), (4, 1.0), (4, f64::NAN), (4, -1.0)] {
            assert_eq!(funnel(repairs, target), None);
        }
        assert_eq!(at_least(share(5, 4), 0.1), None);
        assert_eq!(at_least(share(1, 4), f64::NAN), None);
        assert_eq!(exact_greater(share(0, 0), share(1, 4)), None);
        assert_eq!(exact_greater(share(1, 4), share(0, 0)), None);
    }

    proptest! {
        #[test]
        fn one_more_return_is_never_less_surprising(returned in 0u64..50, more in 1u64..200, target in 0.01..0.99_f64) {
            let repairs = returned + more;
            let tail = |returned| at_least(share(returned, repairs), target).expect("a tail");
            prop_assert!(tail(returned + 1) <= tail(returned) + 1e-12);
            let exact = |returned| exact_greater(share(returned, repairs), share(30, 300)).expect("a tail");
            prop_assert!(exact(returned + 1) <= exact(returned) + 1e-9);
        }

        #[test]
        fn limits_lie_in_order_around_the_target(repairs in 1u64..3_000, target in 0.01..0.99_f64) {
            let found = funnel(repairs, target).expect("limits");
            prop_assert!(found.outer.low <= found.inner.low && found.inner.low <= target);
            prop_assert!(target <= found.inner.high + 0.5 / real(repairs) && found.inner.high <= found.outer.high);
        }
    }
}
