//! Early warning that a model, part number, batch or method returns more than comparable work.
//!
//! Words: *observed* are its returns, *expected* those that the other batches or methods of the same work let expect. What
//! must stay true: one return of two parts is no warning and seven of twenty-four are; a warning needs three returns on
//! three machines. With less than one return expected a real fault mostly stays silent: that is the price of few false
//! alarms, and why the rule for one machine stands beside it.

use serde::Serialize;

use super::distributions::{crossing, digamma, gamma_at_most, gamma_quantile, ln_gamma};
use super::real;
use super::search::highest;

/// A prior is fitted only to so many cells or more.
pub const CELLS_MIN: usize = 15;

/// Two kinds of cells are told apart only among more cells than this.
pub const CELLS_OF_TWO_KINDS_MIN: usize = 200;

/// A warning needs so many returns, and on as many machines.
pub const RETURNS_MIN: u64 = 3;

/// At or above this lower limit a warning is urgent.
pub const URGENT_LIMIT: f64 = 1.5;

/// A fitted prior worth more expected returns than this, or less than its inverse, ran to the edge.
const EDGE: f64 = 1e4;

/// Returns of one model, part number, batch or method.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Cell {
    pub observed: u64,
    /// Machines among which they came.
    pub machines: u64,
    pub expected: f64,
}

/// How ratios of observed to expected are spread over cells before their returns are looked at: a gamma distribution, in
/// extra returns and extra expected ones.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct RatioPrior {
    pub returns: f64,
    pub expected: f64,
}

/// Two extra of each.
impl Default for RatioPrior {
    fn default() -> Self {
        Self {
            returns: 2.0,
            expected: 2.0,
        }
    }
}

/// What the ratio of a cell is, after its returns are looked at.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Signal {
    /// The mean ratio; `None` where two kinds of cells are told apart.
    pub mean: Option<f64>,
    /// The middle ratio, as the exponential of the mean logarithm.
    pub middle: f64,
    /// The ratio is above this 95 times in 100.
    pub low: f64,
    /// The ratio is below this 95 times in 100.
    pub high: f64,
    pub level: Level,
}

/// How loud a warning is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    Nothing,
    Amber,
    Red,
}

impl Cell {
    fn is_sane(&self) -> bool {
        self.expected >= 0.0 && self.expected.is_finite()
    }

    fn level(&self, low: f64) -> Level {
        let enough = self.observed >= RETURNS_MIN && self.machines >= RETURNS_MIN;
        match low {
            _ if !enough => Level::Nothing,
            low if low >= URGENT_LIMIT => Level::Red,
            low if low > 1.0 => Level::Amber,
            _ => Level::Nothing,
        }
    }
}

impl RatioPrior {
    /// Judges a cell; `None` for an expectation that is none.
    ///
    /// # Source
    /// Gamma-Poisson; DuMouchel, The American Statistician 53 (1999) 177-190, with one component.
    #[must_use]
    pub fn judge(&self, cell: Cell) -> Option<Signal> {
        if !cell.is_sane() {
            return None;
        }
        let after = self.with(cell);
        let low = gamma_quantile(0.05, after.returns) / after.expected;
        Some(Signal {
            mean: Some(after.returns / after.expected),
            middle: after.mean_log().exp(),
            low,
            high: gamma_quantile(0.95, after.returns) / after.expected,
            level: cell.level(low),
        })
    }

    fn with(self, cell: Cell) -> Self {
        Self {
            returns: self.returns + real(cell.observed),
            expected: self.expected + cell.expected,
        }
    }

    fn mean_log(self) -> f64 {
        digamma(self.returns) - self.expected.ln()
    }

    /// The logarithm of how likely a cell's returns are: negative binomial.
    fn log_likelihood(self, cell: Cell) -> f64 {
        let observed = real(cell.observed);
        let success = self.expected / (self.expected + cell.expected);
        let failed = if cell.observed == 0 {
            0.0
        } else {
            observed * (1.0 - success).ln()
        };
        ln_gamma(self.returns + observed) - ln_gamma(self.returns) - ln_gamma(observed + 1.0)
            + self.returns * success.ln()
            + failed
    }

    /// The prior that makes what the cells show most likely; `None` below [`CELLS_MIN`] cells, or where the fit ran to
    /// the edge, as it does where cells do not differ.
    #[must_use]
    pub fn fitted(cells: &[Cell]) -> Option<Self> {
        let cells: Vec<Cell> = cells
            .iter()
            .copied()
            .filter(|cell| cell.is_sane() && cell.expected > 0.0)
            .collect();
        if cells.len() < CELLS_MIN {
            return None;
        }
        let at = |[returns, expected]: [f64; 2]| Self {
            returns: returns.exp(),
            expected: expected.exp(),
        };
        let likely = |place| {
            cells
                .iter()
                .map(|cell| at(place).log_likelihood(*cell))
                .sum()
        };
        let found = at(highest(likely, [2.0_f64.ln(); 2]));
        let inside = |number: f64| (EDGE.recip()..EDGE).contains(&number);
        (inside(found.returns) && inside(found.expected)).then_some(found)
    }
}

/// Two kinds of cells: a part of them, and the rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TwoKinds {
    pub part: f64,
    pub of_part: RatioPrior,
    pub of_rest: RatioPrior,
}

impl TwoKinds {
    /// Judges one of so many cells; `None` up to [`CELLS_OF_TWO_KINDS_MIN`], which are too few for so many parameters.
    ///
    /// # Source
    /// DuMouchel, The American Statistician 53 (1999) 177-190; the R package openEBGM.
    #[must_use]
    pub fn judge(&self, cell: Cell, cells: usize) -> Option<Signal> {
        if cells <= CELLS_OF_TWO_KINDS_MIN || !cell.is_sane() {
            return None;
        }
        let part = self.chance_of_part(cell);
        let (one, other) = (self.of_part.with(cell), self.of_rest.with(cell));
        let both = |of: &dyn Fn(RatioPrior) -> f64| part * of(one) + (1.0 - part) * of(other);
        let quantile = |chance| {
            let at_most =
                |ratio: f64| both(&|kind| gamma_at_most(ratio * kind.expected, kind.returns));
            let ends =
                [one, other].map(|kind| gamma_quantile(chance, kind.returns) / kind.expected);
            let [from, to] = ends;
            crossing(at_most, chance, from.min(to), from.max(to))
        };
        let low = quantile(0.05);
        Some(Signal {
            mean: None,
            middle: both(&RatioPrior::mean_log).exp(),
            low,
            high: quantile(0.95),
            level: cell.level(low),
        })
    }

    /// The chance that a cell is of the part.
    fn chance_of_part(&self, cell: Cell) -> f64 {
        let odds = self.of_rest.log_likelihood(cell) - self.of_part.log_likelihood(cell);
        self.part / (self.part + (1.0 - self.part) * odds.exp())
    }
}

/// The chance of a warning for a cell whose true ratio is known, where each return is on a machine of its own.
#[must_use]
pub fn chance_of_warning(prior: RatioPrior, expected: f64, true_ratio: f64) -> Option<f64> {
    const RETURNS_MAX: u64 = 10_000;
    let warns = |observed: &u64| {
        let cell = Cell {
            observed: *observed,
            machines: *observed,
            expected,
        };
        prior
            .judge(cell)
            .is_some_and(|signal| signal.level > Level::Nothing)
    };
    let least = (RETURNS_MIN..RETURNS_MAX).find(warns)?;
    Some(super::distributions::poisson_at_least(
        least,
        expected * true_ratio,
    ))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::rates::count;
    use crate::rates::testing::{near, table, whole, within};

    fn cell(observed: u64, expected: f64) -> Cell {
        Cell {
            observed,
            machines: observed,
            expected,
        }
    }

    fn judged(observed: u64, expected: f64) -> Signal {
        RatioPrior::default()
            .judge(cell(observed, expected))
            .expect("a signal")
    }

    /// Observed, expected, mean, middle, lower limit: scipy 1.17.1; the last lower limit and its upper also R 4.2.2.
    /// Within a millionth.
    const DEFAULT: &str = "
        0 0.5 0.8 0.6104820446 0.1421446043
        3 0.4 2.083333333 1.878829415 0.8208956534
        4 0.5 2.4 2.203015132 1.045205898
        6 0.5 3.2 3.002216190 1.592329114
        7 1.4 2.647058824 2.501438700 1.380949277";

    #[test]
    fn two_extra_returns_and_two_extra_expected_ones_temper_the_ratio() {
        let levels = [
            Level::Nothing,
            Level::Nothing,
            Level::Amber,
            Level::Red,
            Level::Amber,
        ];
        for (row, level) in table(DEFAULT).into_iter().zip(levels) {
            let signal = judged(whole(row[0]), row[1]);
            near(signal.mean.expect("a mean"), row[2]);
            near(signal.middle, row[3]);
            near(signal.low, row[4]);
            assert_eq!(signal.level, level);
        }
        near(judged(7, 1.4).high, 4.245_485_210_35);
        let prior = [0.025, 0.975].map(|tail| gamma_quantile(tail, 2.0) / 2.0);
        near(prior[0], 0.121_104_64);
        near(prior[1], 2.785_821_7);
    }

    /// Expected, chance of a warning at a true ratio of 1 and of 4: scipy 1.17.1, within one of the last digit printed.
    #[test]
    fn a_real_fault_mostly_stays_silent_while_less_than_one_return_is_expected() {
        let printed =
            "0.5 0.001752 0.1429\n1 0.003660 0.3712\n2 0.004534 0.6867\n5 0.013695 0.9892";
        for row in table(printed) {
            let chance =
                |ratio| chance_of_warning(RatioPrior::default(), row[0], ratio).expect("a chance");
            assert!(
                (chance(1.0) - row[1]).abs() < 1e-6,
                "{} {}",
                chance(1.0),
                row[1]
            );
            assert!(
                (chance(4.0) - row[2]).abs() < 1e-4,
                "{} {}",
                chance(4.0),
                row[2]
            );
        }
    }

    /// The parameters stored in the tests of the R package openEBGM.
    const STORED: TwoKinds = TwoKinds {
        part: 0.065_364_16,
        of_part: RatioPrior {
            returns: 3.252_803_67,
            expected: 0.399_833_76,
        },
        of_rest: RatioPrior {
            returns: 2.024_904_00,
            expected: 1.907_268_19,
        },
    };

    /// Observed, expected, chance of the part, middle, lower and upper limit: R 4.2.2 and scipy 1.17.1. Within a millionth.
    const TWO_KINDS: &str = "
        0 0.5 0.007944560455 0.652234572652 0.152465999212 2.049165588
        1 0.1 0.1948861777 1.791943481 0.4527849660 10.71585878
        3 0.5 0.3112626162 2.756354773 0.9209549060 9.626597191
        5 1 0.3223065991 3.005462925 1.245960170 7.944175088
        10 2 0.4935682398 3.945242670 2.000084908 7.520971646";

    #[test]
    fn two_kinds_of_cells_come_out_as_in_the_package() {
        for row in table(TWO_KINDS) {
            let cell = cell(whole(row[0]), row[1]);
            near(STORED.chance_of_part(cell), row[2]);
            let signal = STORED.judge(cell, 201).expect("a signal");
            near(signal.middle, row[3]);
            near(signal.low, row[4]);
            near(signal.high, row[5]);
        }
        assert_eq!(STORED.judge(cell(1, 1.0), 200), None);
    }

    #[test]
    fn many_returns_on_two_machines_are_no_warning() {
        let two = Cell {
            machines: 2,
            ..cell(7, 1.4)
        };
        let signal = RatioPrior::default().judge(two).expect("a signal");
        assert_eq!(signal.level, Level::Nothing);
        for expected in [-1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(RatioPrior::default().judge(cell(3, expected)), None);
        }
    }

    /// Worked by hand: returns of 4,500 cells laid out as the negative binomial with two of each has them, one expected
    /// in each: none in 2,000, one in 1,333, two in 667, and so on.
    #[test]
    fn a_prior_is_fitted_to_many_cells_that_differ_and_to_no_others() {
        let mut cells = Vec::new();
        let prior = RatioPrior::default();
        for observed in 0..20 {
            let share = prior.log_likelihood(cell(observed, 1.0)).exp() * 4_500.0;
            let rounded = whole(share.round());
            cells.extend((0..rounded).map(|_| cell(observed, 1.0)));
        }
        let fit = RatioPrior::fitted(&cells).expect("a fit");
        within(fit.returns, 2.0, 0.02);
        within(fit.expected, 2.0, 0.02);
        within(
            fit.returns / fit.expected,
            real(cells.iter().map(|cell| cell.observed).sum()) / real(count(cells.len())),
            1e-4,
        );
        assert_eq!(RatioPrior::fitted(&cells[..14]), None);
        assert_eq!(RatioPrior::fitted(&[cell(2, 2.0); 30]), None);
    }

    proptest! {
        #[test]
        fn one_more_return_never_lowers_a_signal(observed in 0u64..200, expected in 0.0..100.0_f64) {
            let (one, more) = (judged(observed, expected), judged(observed + 1, expected));
            prop_assert!(one.low <= more.low && one.middle <= more.middle && one.level <= more.level);
            prop_assert!(one.low <= one.middle && one.middle <= one.high);
        }
    }
}
