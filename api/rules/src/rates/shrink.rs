//! Rates drawn toward the shop's own, the more the fewer the repairs: for what to look at first and for forecasts, never
//! for blame or praise, as a small group that is truly bad is hidden by it.
//!
//! What must stay true: the prior is fitted only where enough groups have enough repairs; else ten average repairs are
//! added to each, and that is said. Groups that show no spread beyond chance all get the shop's rate.

use serde::Serialize;

use super::distributions::{beta_at_most, beta_quantile, ln_gamma};
use super::interval::TAILS;
use super::search::highest;
use super::survival::Effective;
use super::{Interval, count, real};

/// A prior is fitted only where so many groups have [`REPAIRS_MIN`] repairs or more.
pub const GROUPS_MIN: usize = 5;

/// Fewer repairs than this do not help to tell how groups differ.
pub const REPAIRS_MIN: f64 = 10.0;

/// How many average repairs are added where nothing can be fitted.
pub const ADDED_REPAIRS: f64 = 10.0;

/// A prior worth more repairs than this says that groups do not differ.
const STRENGTH_MAX: f64 = 1e6;

/// How rates are spread over groups: a beta distribution, in returns and in repairs that held.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Spread {
    pub returned: f64,
    pub held: f64,
}

/// What is known of any group before its own repairs are looked at.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub enum Prior {
    /// Fitted to the groups.
    Fitted(Spread),
    /// As if ten average repairs were added to each group.
    TenAdded(Spread),
    /// The groups do not differ beyond chance: each has this rate.
    Same(f64),
}

/// A rate drawn toward the shop's.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Shrunk {
    pub value: f64,
    /// `None` where groups do not differ.
    pub limits: Option<Interval>,
}

impl Prior {
    /// The prior for these groups of a shop with this rate; `None` for a rate that is none.
    #[must_use]
    pub fn of(groups: &[Effective], shop_rate: f64) -> Option<Self> {
        if !(0.0..=1.0).contains(&shop_rate) {
            return None;
        }
        // Where none or all returned there is nothing to spread.
        if shop_rate <= 0.0 || shop_rate >= 1.0 {
            return Some(Self::Same(shop_rate));
        }
        let large = groups.iter().filter(|group| group.repairs >= REPAIRS_MIN);
        if large.count() < GROUPS_MIN {
            return Some(Self::TenAdded(Spread {
                returned: ADDED_REPAIRS * shop_rate,
                held: ADDED_REPAIRS * (1.0 - shop_rate),
            }));
        }
        Some(Spread::most_likely(groups).map_or(Self::Same(shop_rate), Self::Fitted))
    }

    /// The rate of a group, drawn.
    #[must_use]
    pub fn shrunk(&self, group: Effective) -> Shrunk {
        match self {
            Self::Fitted(spread) | Self::TenAdded(spread) => {
                let after = spread.with(group);
                Shrunk {
                    value: after.mean(),
                    limits: Some(after.limits()),
                }
            }
            Self::Same(rate) => Shrunk {
                value: *rate,
                limits: None,
            },
        }
    }
}

impl Spread {
    fn mean(self) -> f64 {
        self.returned / (self.returned + self.held)
    }

    /// What is known once a group's own repairs are looked at.
    #[must_use]
    pub fn with(self, group: Effective) -> Self {
        Self {
            returned: self.returned + group.returned,
            held: self.held + group.repairs - group.returned,
        }
    }

    /// Limits that hold the rate 95 times in 100.
    #[must_use]
    pub fn limits(self) -> Interval {
        let [low, high] = TAILS.map(|tail| beta_quantile(tail, self.returned, self.held));
        Interval { low, high }
    }

    /// The chance that the rate is above another.
    #[must_use]
    pub fn above(self, rate: f64) -> f64 {
        beta_at_most(1.0 - rate, self.held, self.returned)
    }

    /// The spread that makes what the groups show most likely; `None` where they do not differ beyond chance.
    ///
    /// # Source
    /// Beta-binomial likelihood; Gelman et al., Bayesian Data Analysis, chapter 5. Searched for in the logit of the mean
    /// and the logarithm of the strength, from the moments.
    #[must_use]
    pub fn most_likely(groups: &[Effective]) -> Option<Self> {
        let start = Self::of_moments(groups)?;
        let at = |[logit, strength]: [f64; 2]| {
            let mean = 1.0 / (1.0 + (-logit).exp());
            Self {
                returned: strength.exp() * mean,
                held: strength.exp() * (1.0 - mean),
            }
        };
        let from = [
            (start.returned / start.held).ln(),
            (start.returned + start.held).ln(),
        ];
        let found = at(highest(|place| at(place).log_likelihood(groups), from));
        let sane = found.returned > 0.0 && found.held > 0.0;
        (sane && found.returned + found.held < STRENGTH_MAX).then_some(found)
    }

    /// The spread by weighted moments; `None` where the groups do not differ beyond chance.
    ///
    /// # Source
    /// Kleinman, Journal of the American Statistical Association 68 (1973) 46-54 (from memory).
    #[must_use]
    pub fn of_moments(groups: &[Effective]) -> Option<Self> {
        let groups: Vec<_> = groups.iter().filter(|group| group.repairs > 0.0).collect();
        let sum =
            |of: &dyn Fn(&Effective) -> f64| groups.iter().map(|group| of(group)).sum::<f64>();
        let all = sum(&|group| group.repairs);
        let mean = sum(&|group| group.returned) / all;
        let squares = sum(&|group| group.repairs * (group.returned / group.repairs - mean).powi(2));
        let others = real(count(groups.len())) - 1.0;
        let spread = (squares / (mean * (1.0 - mean)) - others)
            / (all - sum(&|group| group.repairs.powi(2)) / all - others);
        if !(spread > 0.0 && spread < 1.0) {
            return None;
        }
        let strength = 1.0 / spread - 1.0;
        Some(Self {
            returned: mean * strength,
            held: (1.0 - mean) * strength,
        })
    }

    /// The logarithm of the likelihood of what the groups show.
    fn log_likelihood(self, groups: &[Effective]) -> f64 {
        let ln_beta = |a: f64, b: f64| ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b);
        let before = ln_beta(self.returned, self.held);
        let one = |group: &Effective| {
            let (returned, held) = (group.returned, group.repairs - group.returned);
            let ways =
                ln_gamma(group.repairs + 1.0) - ln_gamma(returned + 1.0) - ln_gamma(held + 1.0);
            ln_beta(returned + self.returned, held + self.held) - before + ways
        };
        groups.iter().map(one).sum()
    }
}

#[cfg(test)]
mod tests {
    use proptest::collection::vec;
    use proptest::prelude::*;

    use super::*;
    use crate::rates::Share;
    use crate::rates::testing::{limits, near, table, within};

    fn seen(returned: f64, repairs: f64) -> Effective {
        Effective { returned, repairs }
    }

    fn rats() -> Vec<Effective> {
        let text = include_str!("../../../../fixtures/worked/rates/rat-tumors.csv");
        table(text)
            .into_iter()
            .map(|row| seen(row[0], row[1]))
            .collect()
    }

    /// Tumors of rats (Tarone 1982; Gelman et al.): 263 of 1,725 in 70 groups. The fit that the vignette of the R package
    /// BayesGOF prints, 2.304768 and 14.079707, to a part of 1e-4; the better one of scipy 1.17.1 and statsmodels to 1e-6;
    /// the current group of 4 in 14 by R's `qbeta`.
    #[test]
    fn the_tumors_of_rats_give_the_published_prior() {
        let groups = rats();
        near(groups.iter().map(|group| group.returned).sum(), 263.0);
        near(groups.iter().map(|group| group.repairs).sum(), 1725.0);
        let moments = Spread::of_moments(&groups).expect("a spread");
        near(moments.returned, 3.299_617_806);
        near(moments.held, 18.342_362_10);
        near(
            1.0 / (1.0 + moments.returned + moments.held),
            0.044_165_748_94,
        );
        let fit = Spread::most_likely(&groups).expect("a spread");
        within(fit.returned, 2.304_768, 1e-4);
        within(fit.held, 14.079_707, 1e-4);
        near(fit.returned, 2.304_784);
        near(fit.held, 14.079_811);
        near(fit.log_likelihood(&groups), -154.140_249_7);
        let current = fit.with(seen(4.0, 14.0));
        near(current.mean(), 0.207_499_352_0);
        limits(Some(current.limits()), 0.085_611_553_8, 0.365_689_548_7);
        assert!(matches!(Prior::of(&groups, 0.15), Some(Prior::Fitted(_))));
    }

    /// The mean and spread of the 70 raw rates give the rounded 1.4 and 8.6 of Gelman et al. (from memory).
    #[test]
    fn the_books_rounded_prior_is_that_of_unweighted_moments() {
        let rates: Vec<f64> = rats()
            .iter()
            .map(|group| group.returned / group.repairs)
            .collect();
        let mean = rates.iter().sum::<f64>() / 70.0;
        let variance = rates.iter().map(|rate| (rate - mean).powi(2)).sum::<f64>() / 69.0;
        near(mean, 0.136_006_538_9);
        near(variance.sqrt(), 0.103_492_269_8);
        let strength = mean * (1.0 - mean) / variance - 1.0;
        near(mean * strength, 1.356_149_391);
        near((1.0 - mean) * strength, 8.615_057_891);
    }

    /// Twelve hospitals ("Surgical" in the examples of BUGS), fitted by scipy 1.17.1 to a part of 1e-5.
    #[test]
    fn a_hospital_without_a_death_is_drawn_up_and_the_worst_down() {
        let text = "47 0\n148 18\n119 8\n810 46\n211 8\n196 13\n148 9\n215 31\n207 14\n97 8\n256 29\n360 24";
        let groups: Vec<_> = table(text)
            .into_iter()
            .map(|row| seen(row[1], row[0]))
            .collect();
        let moments = Spread::of_moments(&groups).expect("a spread");
        near(moments.returned, 6.403_202_614);
        near(moments.held, 80.224_740_44);
        let fit = Spread::most_likely(&groups).expect("a spread");
        within(fit.returned, 8.253_484, 1e-5);
        within(fit.held, 99.636_809, 1e-5);
        within(fit.mean(), 0.076_498_858_0, 1e-5);
        within(fit.log_likelihood(&groups), -38.753_089_0, 1e-5);
        within(fit.with(groups[0]).mean(), 0.053_286_000_4, 1e-5);
        within(fit.with(groups[7]).mean(), 0.121_569_105_7, 1e-5);
    }

    /// scipy 1.17.1, within a millionth.
    #[test]
    fn with_few_groups_ten_average_repairs_are_added() {
        let prior = Prior::of(&[seen(1.0, 4.0)], 0.08).expect("a prior");
        let Prior::TenAdded(spread) = prior else {
            panic!("{prior:?}");
        };
        for row in table("0 4 0.05714285714\n1 4 0.1285714286\n4 4 0.3428571429\n9 60 0.14") {
            near(prior.shrunk(seen(row[0], row[1])).value, row[2]);
        }
        limits(
            prior.shrunk(seen(1.0, 4.0)).limits,
            0.014_439_15,
            0.339_667_32,
        );
        near(spread.with(seen(1.0, 4.0)).above(0.08), 0.656_860_755_2);
    }

    #[test]
    fn groups_that_do_not_differ_all_have_the_shops_rate() {
        let alike = [seen(2.0, 20.0); 6];
        assert_eq!(Spread::of_moments(&alike), None);
        let prior = Prior::of(&alike, 0.1).expect("a prior");
        assert_eq!(prior, Prior::Same(0.1));
        assert_eq!(
            prior.shrunk(seen(5.0, 5.0)),
            Shrunk {
                value: 0.1,
                limits: None
            }
        );
        assert_eq!(
            Prior::of(&[seen(0.0, 30.0); 6], 0.0),
            Some(Prior::Same(0.0))
        );
        assert_eq!(Prior::of(&[], f64::NAN), None);
        assert_eq!(Spread::of_moments(&[]), None);
    }

    proptest! {
        #[test]
        fn a_drawn_rate_lies_between_its_own_and_the_priors(
            groups in vec((0u64..40, 0u64..60), 1..20), rate in 0.01..0.99_f64,
        ) {
            let groups: Vec<Effective> = (groups.into_iter())
                .map(|(returned, held)| Share { returned, repairs: returned + held }.into())
                .collect();
            let prior = Prior::of(&groups, rate).expect("a prior");
            let middle = match prior {
                Prior::Fitted(spread) | Prior::TenAdded(spread) => spread.mean(),
                Prior::Same(rate) => rate,
            };
            for group in groups.iter().filter(|group| group.repairs > 0.0) {
                let (own, drawn) = (group.returned / group.repairs, prior.shrunk(*group));
                prop_assert!(own.min(middle) - 1e-9 <= drawn.value && drawn.value <= own.max(middle) + 1e-9);
                if let Some(found) = drawn.limits {
                    prop_assert!(0.0 <= found.low && found.low <= found.high && found.high <= 1.0);
                }
            }
        }
    }
}
