//! How surprising it is that one machine has the same failure again, beside the rule that flags it.
//!
//! What must stay true: the rule in [`crate::flags`] decides, this only says how rare it is. The chance for this machine is
//! not the chance that some machine shows it, so the number expected by bad luck among all that are watched is always told
//! as well. No recurrence on record is not a chance of none.

use serde::Serialize;

use super::distributions::{negative_binomial_at_least, poisson_at_least};
use super::real;
use crate::flags::base_rate::{BASE_RATE_REPAIRS_MIN, TOO_FEW};
use crate::plural;

/// What the shop's other machines with the same component and failure have shown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Others {
    /// How often the failure came again.
    pub recurrences: u64,
    /// For how many machine-years after their first such repair they were watched.
    pub years: f64,
    /// How many machines are watched for it.
    pub machines: u64,
}

/// How surprising so many recurrences are.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Surprise {
    /// Recurrences expected of this machine.
    pub expected: f64,
    /// The chance of as many or more if the shop's rate were known.
    pub known_rate: f64,
    /// The same with the rate as uncertain as the shop's record makes it: the one to tell.
    pub chance: f64,
    /// Machines that show as many by bad luck alone, among all that are watched.
    pub expected_machines: f64,
}

/// The chance that a machine shows so many recurrences or more in so many years. `None` where nothing was watched.
///
/// # Source
/// Poisson tail, and predictive negative binomial tail with half a recurrence added (Jeffreys' prior); scipy 1.17.1.
#[must_use]
pub fn surprise(recurrences: u64, years: f64, others: Others) -> Option<Surprise> {
    let watched = |years: f64| years > 0.0 && years.is_finite();
    if !watched(years) || !watched(others.years) {
        return None;
    }
    let expected = real(others.recurrences) / others.years * years;
    let size = real(others.recurrences) + 0.5;
    let chance =
        negative_binomial_at_least(recurrences, size, others.years / (others.years + years));
    Some(Surprise {
        expected,
        known_rate: poisson_at_least(recurrences, expected),
        chance,
        expected_machines: real(others.machines) * chance,
    })
}

/// Days as years of 365.25 days.
#[must_use]
pub fn years(days: i64) -> f64 {
    real(u64::try_from(days).unwrap_or(0)) / 365.25
}

impl Surprise {
    /// The chance for this machine, and beside it how many of the machines on record are expected to show as much.
    ///
    /// Shape: `recurrences` are those the chance is of; `machines` those on record beside this one, one at least.
    ///
    /// Rounding: below one in five, one in so many to two significant digits; above that in hundredths. Machines to two
    /// digits behind the point below one, to one below ten, otherwise whole. Fewer than [`BASE_RATE_REPAIRS_MIN`] machines
    /// are said to be too few.
    #[must_use]
    pub fn sentence(&self, recurrences: u64, machines: u64) -> String {
        let chance = if self.chance >= 0.2 {
            format!("about {:.0} in 100 such machines", 100.0 * self.chance)
        } else if self.chance >= 1e-6 {
            format!("about 1 in {} such machines", two_digits(1.0 / self.chance))
        } else {
            "fewer than 1 in 1,000,000 such machines".to_owned()
        };
        let often = plural::times(recurrences);
        let among = self.among(machines);
        format!(
            "By bad luck alone, {chance} would have the same failure again at least {often} in that time. {among}."
        )
    }

    /// How many of the machines on record are expected to show as much.
    fn among(&self, machines: u64) -> String {
        let too_few = if machines < u64::from(BASE_RATE_REPAIRS_MIN) {
            TOO_FEW
        } else {
            ""
        };
        if machines <= 1 {
            return format!("Only one other is on record{too_few}");
        }
        let expected = match self.expected_machines {
            none if none < 0.005 => "fewer than one (below 0.01)".to_owned(),
            few if few < 0.995 => format!("fewer than one ({few:.2})"),
            some if some < 9.95 => format!("about {some:.1}"),
            many => format!("about {many:.0}"),
        };
        format!("Among the {machines} others on record, {expected} would show as much{too_few}")
    }
}

/// A number of at least one to two significant digits, with its thousands apart.
fn two_digits(value: f64) -> String {
    let step = 10f64.powf((value.log10().floor() - 1.0).max(0.0));
    let whole = format!("{:.0}", (value / step).round() * step);
    let mut text = String::new();
    for (index, digit) in whole.chars().enumerate() {
        if index > 0 && (whole.len() - index).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

/// The chance of so many or more where machines are known to differ: `size` is small where they differ much.
///
/// # Source
/// Negative binomial tail of mean `expected`; R 4.2.2 `pnbinom`, scipy 1.17.1 `nbinom`.
#[must_use]
pub fn chance_where_machines_differ(recurrences: u64, expected: f64, size: f64) -> Option<f64> {
    let sane = expected >= 0.0 && size > 0.0 && (expected + size).is_finite();
    sane.then(|| negative_binomial_at_least(recurrences, size, size / (size + expected)))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::rates::testing::{near, table};

    /// 180 repairs each followed for 14 months, one recurrence: scipy 1.17.1 and R 4.2.2. Within a millionth.
    const TERMINALS: Others = Others {
        recurrences: 1,
        years: 210.0,
        machines: 180,
    };

    #[test]
    fn a_third_burnt_terminal_in_fourteen_months_is_no_bad_luck() {
        let found = surprise(2, 14.0 / 12.0, TERMINALS).expect("a chance");
        near(found.expected, 0.005_555_555_556);
        near(found.known_rate, 1.537_506_174e-5);
        near(found.chance, 5.712_717_488e-5);
        near(found.expected_machines, 0.010_282_891_48);
        let differ = chance_where_machines_differ(2, found.expected, 0.5);
        near(differ.expect("a chance"), 4.545_129_573e-5);
    }

    /// Tails at 1, 2 and 3 recurrences; scipy 1.17.1 and R 4.2.2. Within a millionth.
    #[test]
    fn tails_are_those_of_the_packages() {
        let tails = table(
            "0.04877057550 0.001209104274 2.006749362e-05\n0.08449407749 0.007974179489 0.0007790249011",
        );
        for (least, (poisson, negative)) in (1..=3).zip(tails[0].iter().zip(&tails[1])) {
            near(poisson_at_least(least, 0.05), *poisson);
            let differ = chance_where_machines_differ(least, 0.093_333_333_3, 0.8);
            near(differ.expect("a chance"), *negative);
        }
    }

    #[test]
    fn no_recurrence_on_record_is_not_a_chance_of_none() {
        let found = surprise(
            1,
            1.0,
            Others {
                recurrences: 0,
                ..TERMINALS
            },
        )
        .expect("a chance");
        assert!(found.chance > 0.0 && found.known_rate < f64::MIN_POSITIVE);
        near(surprise(0, 1.0, TERMINALS).expect("a chance").chance, 1.0);
    }

    #[test]
    fn nothing_watched_is_no_ground_for_a_chance() {
        for years in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(surprise(2, years, TERMINALS), None);
            assert_eq!(surprise(2, 1.0, Others { years, ..TERMINALS }), None);
        }
        assert_eq!(chance_where_machines_differ(1, -1.0, 0.5), None);
        assert_eq!(chance_where_machines_differ(1, 1.0, 0.0), None);
    }

    #[test]
    fn the_chance_is_said_with_how_many_machines_show_it_by_bad_luck() {
        let found = surprise(2, 14.0 / 12.0, TERMINALS).expect("a chance");
        assert_eq!(
            found.sentence(2, TERMINALS.machines),
            "By bad luck alone, about 1 in 18,000 such machines would have the same failure again at least twice in that time. \
             Among the 180 others on record, fewer than one (0.01) would show as much."
        );
        // With no recurrence on record the tail is 1 - (0.5 / 2.5)^0.5 = 0.5528, by hand from the predictive distribution.
        let few = Others {
            recurrences: 0,
            years: 0.5,
            machines: 1,
        };
        let found = surprise(1, 2.0, few).expect("a chance");
        assert_eq!(
            found.sentence(1, 1),
            "By bad luck alone, about 55 in 100 such machines would have the same failure again at least once in that time. \
             Only one other is on record (too few to judge)."
        );
        let rare = surprise(9, 0.5, TERMINALS).expect("a chance");
        assert!(
            rare.sentence(9, 180)
                .contains("fewer than 1 in 1,000,000 such machines")
        );
        let among = |expected_machines| {
            let found = Surprise {
                expected_machines,
                ..rare
            };
            found.among(16)
        };
        for (expected, said) in [
            (0.001, "fewer than one (below 0.01)"),
            (0.15, "fewer than one (0.15)"),
            (0.996, "about 1.0"),
            (2.34, "about 2.3"),
            (9.96, "about 10"),
        ] {
            let whole = format!("Among the 16 others on record, {said} would show as much");
            assert_eq!(among(expected), whole);
        }
        assert_eq!(two_digits(5.04), "5");
        assert_eq!(two_digits(99.6), "100");
        assert_eq!(two_digits(987_654.0), "990,000");
    }

    #[test]
    fn a_year_has_365_days_and_a_quarter() {
        near(years(1_461), 4.0);
        near(years(-1), 0.0);
    }

    proptest! {
        #[test]
        fn more_recurrences_are_never_less_surprising(least in 0u64..30, recurrences in 0u64..50, years in 0.1..900.0_f64) {
            let others = Others { recurrences, years, machines: 10 };
            let one = surprise(least, 1.5, others).expect("a chance");
            let more = surprise(least + 1, 1.5, others).expect("a chance");
            prop_assert!(more.chance <= one.chance + 1e-12 && more.known_rate <= one.known_rate + 1e-12);
            prop_assert!((0.0..=1.0).contains(&one.chance));
        }
    }
}
