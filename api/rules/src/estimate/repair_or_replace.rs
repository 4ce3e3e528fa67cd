//! Figures a customer may weigh when a machine is old: its age against the life such machines usually have, and what a
//! repair costs against a new one.
//!
//! These are notes beside a choice. Nothing here decides, ranks or recommends, and a figure that is not known is left
//! out rather than guessed.

use chrono::{Datelike, NaiveDate};
use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};

use crate::money::Cents;

/// From which of its dates a machine's age is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AgeBasis {
    /// The day it was made, by its plate.
    Made,
    /// The day it was bought.
    Bought,
    /// The day it was installed.
    Installed,
}

/// The dates known of a machine.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Dates {
    /// When it was made.
    pub made_on: Option<NaiveDate>,
    /// When it was bought.
    pub bought_on: Option<NaiveDate>,
    /// When it was installed.
    pub installed_on: Option<NaiveDate>,
}

/// A machine's age.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Age {
    /// Whole years; the last one begun is not counted.
    pub years: u32,
    /// What it is counted from.
    pub basis: AgeBasis,
}

/// How long machines of a type usually last, and who says so.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExpectedLife {
    /// Years.
    pub years: u32,
    /// Where the figure comes from, with its year.
    pub source: String,
    /// What to know before using it, or empty.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub caution: String,
}

/// An option against a new machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Share {
    /// Title of the option.
    pub option: String,
    /// Its total per hundred of the price of a new machine, in whole numbers, half up.
    pub percent: u32,
}

/// Everything there is to weigh, as shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Weighing {
    /// The machine's age, if any of its dates is known.
    pub age: Option<Age>,
    /// What is known of such machines.
    pub expected_life: Option<ExpectedLife>,
    /// Its age per hundred of that life, in whole numbers, half up. Above 100 once it outlived it.
    pub life_used_percent: Option<u32>,
    /// What a new machine would cost, as the office typed it.
    pub replacement_price: Option<Cents>,
    /// Each option's share of that price.
    pub shares: Vec<Share>,
}

/// The age of a machine on a day: from when it was made, else bought, else installed.
///
/// `None` if none of these is known or the day known lies after `on`.
#[must_use]
pub fn age(dates: Dates, on: NaiveDate) -> Option<Age> {
    let known = [
        (dates.made_on, AgeBasis::Made),
        (dates.bought_on, AgeBasis::Bought),
        (dates.installed_on, AgeBasis::Installed),
    ];
    let (since, basis) = known
        .into_iter()
        .find_map(|(day, basis)| Some((day?, basis)))?;
    let begun = on.year().checked_sub(since.year())?;
    let is_whole = (on.month(), on.day()) >= (since.month(), since.day());
    let years = if is_whole {
        begun
    } else {
        begun.checked_sub(1)?
    };
    Some(Age {
        years: u32::try_from(years).ok()?,
        basis,
    })
}

/// `part` per hundred of `whole`, in whole numbers, half up; `None` without a whole.
fn per_hundred(part: Decimal, whole: Decimal) -> Option<u32> {
    if whole <= Decimal::ZERO || part < Decimal::ZERO {
        return None;
    }
    part.checked_mul(Decimal::ONE_HUNDRED)?
        .checked_div(whole)?
        .round_dp_with_strategy(0, RoundingStrategy::MidpointAwayFromZero)
        .try_into()
        .ok()
}

/// Puts the figures together that are known.
///
/// # Source
/// Lives: what the [`ExpectedLife`] names; worked/repair-or-replace.json. The shares are arithmetic.
#[must_use]
pub fn weigh(
    age: Option<Age>,
    expected_life: Option<ExpectedLife>,
    replacement_price: Option<Cents>,
    totals: &[(String, Cents)],
) -> Weighing {
    let life_used_percent = age
        .zip(expected_life.as_ref())
        .and_then(|(age, life)| per_hundred(Decimal::from(age.years), Decimal::from(life.years)));
    let shares = replacement_price.map_or_else(Vec::new, |price| {
        totals
            .iter()
            .filter_map(|(option, total)| {
                let percent = per_hundred(Decimal::from(total.0), Decimal::from(price.0))?;
                Some(Share {
                    option: option.clone(),
                    percent,
                })
            })
            .collect()
    });
    Weighing {
        age,
        expected_life,
        life_used_percent,
        replacement_price,
        shares,
    }
}

impl Weighing {
    /// Whether there is any figure to show.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.age.is_none() && self.expected_life.is_none() && self.shares.is_empty()
    }

    /// The figures in plain sentences, the source of the life last.
    #[must_use]
    pub fn sentences(&self) -> Vec<String> {
        let mut sentences = Vec::new();
        if let Some(age) = self.age {
            let since = match age.basis {
                AgeBasis::Made => "it was made",
                AgeBasis::Bought => "it was bought",
                AgeBasis::Installed => "it was installed",
            };
            sentences.push(format!(
                "Age: {}, counted from when {since}.",
                years(age.years)
            ));
        }
        if let Some(life) = &self.expected_life {
            let used = self.life_used_percent.map_or_else(String::new, |percent| {
                format!(" This one has used {percent} % of that.")
            });
            sentences.push(format!(
                "Machines of this type last about {} on average.{used}",
                years(life.years)
            ));
        }
        if let Some(price) = self.replacement_price {
            for share in &self.shares {
                let Share { option, percent } = share;
                sentences.push(format!(
                    "\"{option}\" costs {percent} % of a comparable new machine at {price}."
                ));
            }
        }
        if let Some(life) = &self.expected_life {
            let caution = Some(&life.caution).filter(|caution| !caution.is_empty());
            let caution = caution.map_or_else(String::new, |caution| format!(" {caution}"));
            sentences.push(format!(
                "Source of the average life: {}.{caution}",
                life.source
            ));
        }
        sentences
    }
}

fn years(count: u32) -> String {
    if count == 1 {
        "1 year".to_owned()
    } else {
        format!("{count} years")
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::worked::rows;

    #[derive(Deserialize)]
    struct Machine {
        made_on: Option<NaiveDate>,
        bought_on: Option<NaiveDate>,
        on: NaiveDate,
        life_years: u32,
    }

    #[derive(Deserialize)]
    struct Figures {
        age_years: Option<u32>,
        life_used_percent: Option<u32>,
    }

    fn life(years: u32) -> ExpectedLife {
        ExpectedLife {
            years,
            source: "a study, 2007".to_owned(),
            caution: String::new(),
        }
    }

    #[test]
    fn age_and_life_used_are_those_of_the_published_table() {
        for row in rows::<Machine, Figures>(include_str!(
            "../../../../fixtures/worked/repair-or-replace.json"
        )) {
            let Machine {
                made_on,
                bought_on,
                on,
                life_years,
            } = row.input;
            let dates = Dates {
                made_on,
                bought_on,
                installed_on: None,
            };
            let weighing = weigh(age(dates, on), Some(life(life_years)), None, &[]);
            let years = weighing.age.map(|age| age.years);
            assert_eq!(years, row.expected.age_years, "{}", row.source);
            let percent = weighing.life_used_percent;
            assert_eq!(percent, row.expected.life_used_percent, "{}", row.source);
        }
    }

    #[test]
    fn what_is_not_known_is_left_out() {
        let nothing = weigh(None, None, None, &[("Repair".to_owned(), Cents(100))]);
        assert!(nothing.is_empty());
        assert_eq!(nothing.sentences(), Vec::<String>::new());
    }

    #[test]
    fn the_sentences_show_figures_and_their_source_and_recommend_nothing() {
        let made = Age {
            years: 12,
            basis: AgeBasis::Made,
        };
        let totals = [
            ("Repair".to_owned(), Cents(18_050)),
            ("Better repair".to_owned(), Cents(43_900)),
        ];
        let weighing = weigh(Some(made), Some(life(13)), Some(Cents(89_900)), &totals);
        assert_eq!(
            weighing.sentences(),
            [
                "Age: 12 years, counted from when it was made.",
                "Machines of this type last about 13 years on average. This one has used 92 % of that.",
                "\"Repair\" costs 20 % of a comparable new machine at 899.00.",
                "\"Better repair\" costs 49 % of a comparable new machine at 899.00.",
                "Source of the average life: a study, 2007.",
            ]
        );
    }

    proptest! {
        #[test]
        fn a_machine_never_grows_younger(days in 0_i64..20_000, more in 0_i64..400) {
            let made: NaiveDate = "1990-02-28".parse().unwrap();
            let dates = Dates { made_on: Some(made), ..Dates::default() };
            let at = |days| age(dates, made + chrono::TimeDelta::days(days)).unwrap().years;
            prop_assert!(at(days) <= at(days + more));
            prop_assert!(i64::from(at(days)) * 365 <= days);
        }

        #[test]
        fn any_figures_can_be_weighed(total in any::<i64>(), price in any::<i64>(), years in any::<u32>(), age in any::<u32>()) {
            let age = Age { years: age, basis: AgeBasis::Bought };
            let totals = [("Repair".to_owned(), Cents(total))];
            let weighing = weigh(Some(age), Some(life(years)), Some(Cents(price)), &totals);
            prop_assert!(!weighing.sentences().is_empty());
        }
    }
}
