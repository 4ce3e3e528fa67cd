//! Labour prices: by time on the clock, or by the hours a task is listed with.
//!
//! What must stay true: time is only ever rounded up, the first-hour minimum holds once work was done,
//! and the price is rounded once.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal, power_of_ten, ratio_half_up};

/// A shop's labour terms, as they stand in its price book.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LabourTerms {
    /// Price of an hour of one technician.
    pub hourly_rate: Cents,
    /// Least time billed once any work was done; 60 for a first-hour minimum, 0 for none.
    pub minimum_minutes: u32,
    /// Time is rounded up to a multiple of this.
    pub increment_minutes: u32,
    /// Factor for work after hours, at least 1.
    pub after_hours_multiplier: Decimal,
    /// What a second technician adds, as a share of the first one's price; 1 doubles it.
    pub second_technician_share: Decimal,
}

impl LabourTerms {
    /// First-hour minimum, quarter hours, time and a half after hours, second technician at full price.
    ///
    /// # Source
    /// Common practice, no statute; a shop sets its own.
    #[must_use]
    pub fn usual(hourly_rate: Cents) -> Self {
        Self {
            hourly_rate,
            minimum_minutes: 60,
            increment_minutes: 15,
            after_hours_multiplier: Decimal::new(15, 1),
            second_technician_share: Decimal::ONE,
        }
    }
}

/// When the work was done.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WorkHours {
    /// In opening hours.
    #[default]
    Regular,
    /// Outside them.
    AfterHours,
}

/// How many technicians did it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Crew {
    /// One.
    #[default]
    One,
    /// Two.
    Two,
}

/// Price of labour by time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LabourPrice {
    /// Minutes billed, after minimum and increment.
    pub billed_minutes: u32,
    /// The price before tax.
    pub cents: Cents,
}

/// Why labour has no price.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LabourRefusal {
    /// The rate is below zero.
    #[error("an hourly rate cannot be {rate}")]
    NegativeRate { rate: Cents },
    /// An increment of no minutes.
    #[error("the billing increment must be at least one minute")]
    NoIncrement,
    /// After-hours work cheaper than regular work.
    #[error("the after-hours multiplier {multiplier} is below 1")]
    MultiplierBelowOne { multiplier: Decimal },
    /// A second technician who takes money off the bill.
    #[error("a second technician cannot add a share of {share}")]
    NegativeShare { share: Decimal },
    /// Task hours below zero.
    #[error("a task cannot take {hours} hours")]
    NegativeHours { hours: Decimal },
    /// The price or the time does not fit.
    #[error(transparent)]
    Money(#[from] MoneyRefusal),
}

/// Labour by time.
///
/// Shape: minutes worked, to minutes billed and price. No minutes worked bill nothing. Rounding: time up to the
/// increment, then up to the minimum; price half up, once.
///
/// # Errors
/// See [`LabourRefusal`].
/// # Source
/// Common practice; fixtures/worked/labour.json.
pub fn labour(
    minutes: u32,
    terms: &LabourTerms,
    hours: WorkHours,
    crew: Crew,
) -> Result<LabourPrice, LabourRefusal> {
    check(terms)?;
    let billed_minutes = billed_minutes(minutes, terms)?;
    let cents = price(Decimal::from(billed_minutes), 60, terms, hours, crew)?;
    Ok(LabourPrice {
        billed_minutes,
        cents,
    })
}

/// Labour by a listed task: task hours times rate, whatever the clock says.
///
/// No minimum and no increment apply; the hours are the price. Rounding: half up, once.
///
/// # Errors
/// `NegativeHours`, else see [`LabourRefusal`].
/// # Source
/// Common practice; fixtures/worked/labour.json.
pub fn flat_rate(
    task_hours: Decimal,
    terms: &LabourTerms,
    hours: WorkHours,
    crew: Crew,
) -> Result<Cents, LabourRefusal> {
    check(terms)?;
    if task_hours < Decimal::ZERO {
        return Err(LabourRefusal::NegativeHours { hours: task_hours });
    }
    price(task_hours, 1, terms, hours, crew)
}

fn check(terms: &LabourTerms) -> Result<(), LabourRefusal> {
    if terms.hourly_rate.is_negative() {
        return Err(LabourRefusal::NegativeRate {
            rate: terms.hourly_rate,
        });
    }
    if terms.increment_minutes == 0 {
        return Err(LabourRefusal::NoIncrement);
    }
    if terms.after_hours_multiplier < Decimal::ONE {
        let multiplier = terms.after_hours_multiplier;
        return Err(LabourRefusal::MultiplierBelowOne { multiplier });
    }
    if terms.second_technician_share < Decimal::ZERO {
        let share = terms.second_technician_share;
        return Err(LabourRefusal::NegativeShare { share });
    }
    Ok(())
}

fn billed_minutes(minutes: u32, terms: &LabourTerms) -> Result<u32, MoneyRefusal> {
    if minutes == 0 {
        return Ok(0);
    }
    minutes
        .max(terms.minimum_minutes)
        .checked_next_multiple_of(terms.increment_minutes)
        .ok_or(MoneyRefusal::TooLarge)
}

/// Rate times time (in units of `units_per_hour` to the hour) times factors, rounded once.
fn price(
    time: Decimal,
    units_per_hour: i128,
    terms: &LabourTerms,
    hours: WorkHours,
    crew: Crew,
) -> Result<Cents, LabourRefusal> {
    let when = match hours {
        WorkHours::Regular => Decimal::ONE,
        WorkHours::AfterHours => terms.after_hours_multiplier,
    };
    let who = match crew {
        Crew::One => Decimal::ONE,
        Crew::Two => terms
            .second_technician_share
            .checked_add(Decimal::ONE)
            .ok_or(MoneyRefusal::TooLarge)?,
    };
    let mut numerator = i128::from(terms.hourly_rate.0);
    let mut denominator = units_per_hour;
    for factor in [time, when, who].map(|factor| factor.normalize()) {
        numerator = numerator
            .checked_mul(factor.mantissa())
            .ok_or(MoneyRefusal::TooLarge)?;
        denominator = denominator
            .checked_mul(power_of_ten(factor.scale())?)
            .ok_or(MoneyRefusal::TooLarge)?;
    }
    Ok(ratio_half_up(numerator, denominator)?)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::worked::rows;

    #[derive(Deserialize)]
    struct Asked {
        terms: LabourTerms,
        minutes: Option<u32>,
        task_hours: Option<Decimal>,
        hours: WorkHours,
        crew: Crew,
    }

    #[derive(Deserialize, PartialEq, Debug)]
    struct Answer {
        billed_minutes: Option<u32>,
        cents: Cents,
    }

    #[test]
    fn labour_prices_as_in_the_worked_cases() {
        for row in rows::<Asked, Answer>(include_str!("../../../../fixtures/worked/labour.json")) {
            let Asked {
                terms,
                minutes,
                task_hours,
                hours,
                crew,
            } = row.input;
            let answer = match (minutes, task_hours) {
                (Some(minutes), None) => {
                    let price = labour(minutes, &terms, hours, crew).unwrap();
                    Answer {
                        billed_minutes: Some(price.billed_minutes),
                        cents: price.cents,
                    }
                }
                (None, Some(task)) => {
                    let cents = flat_rate(task, &terms, hours, crew).unwrap();
                    Answer {
                        billed_minutes: None,
                        cents,
                    }
                }
                _ => panic!("a case is by time or by task"),
            };
            assert_eq!(answer, row.expected, "{}", row.source);
        }
    }

    #[test]
    fn terms_that_make_no_sense_are_refused_with_their_number() {
        let usual = LabourTerms::usual(Cents(12_000));
        let refused =
            |terms: LabourTerms| labour(30, &terms, WorkHours::Regular, Crew::One).unwrap_err();
        let rate = Cents(-1);
        assert_eq!(
            refused(LabourTerms {
                hourly_rate: rate,
                ..usual.clone()
            }),
            LabourRefusal::NegativeRate { rate }
        );
        assert_eq!(
            refused(LabourTerms {
                increment_minutes: 0,
                ..usual.clone()
            }),
            LabourRefusal::NoIncrement
        );
        let multiplier = Decimal::new(9, 1);
        assert_eq!(
            refused(LabourTerms {
                after_hours_multiplier: multiplier,
                ..usual.clone()
            }),
            LabourRefusal::MultiplierBelowOne { multiplier }
        );
        let share = Decimal::NEGATIVE_ONE;
        assert_eq!(
            refused(LabourTerms {
                second_technician_share: share,
                ..usual.clone()
            }),
            LabourRefusal::NegativeShare { share }
        );
        let hours = Decimal::NEGATIVE_ONE;
        assert_eq!(
            flat_rate(hours, &usual, WorkHours::Regular, Crew::One),
            Err(LabourRefusal::NegativeHours { hours })
        );
        let sixteen = LabourTerms {
            increment_minutes: 16,
            ..usual
        };
        assert_eq!(
            labour(u32::MAX, &sixteen, WorkHours::Regular, Crew::One),
            Err(LabourRefusal::Money(MoneyRefusal::TooLarge))
        );
    }

    proptest! {
        #[test]
        fn more_minutes_never_cost_less(minutes in 0_u32..2_000, more in 0_u32..500, rate in 0_i64..50_000) {
            let terms = LabourTerms::usual(Cents(rate));
            let short = labour(minutes, &terms, WorkHours::Regular, Crew::One).unwrap();
            let long = labour(minutes + more, &terms, WorkHours::Regular, Crew::One).unwrap();
            prop_assert!(long.cents >= short.cents);
            prop_assert!(short.billed_minutes >= minutes);
        }

        #[test]
        fn time_is_billed_in_whole_increments_at_no_less_than_the_minimum(
            minutes in 1_u32..2_000, minimum in 0_u32..200, increment in 1_u32..=60, rate in 0_i64..50_000,
        ) {
            let terms = LabourTerms {
                minimum_minutes: minimum,
                increment_minutes: increment,
                ..LabourTerms::usual(Cents(rate))
            };
            let billed = labour(minutes, &terms, WorkHours::Regular, Crew::One).unwrap().billed_minutes;
            prop_assert_eq!(billed % increment, 0);
            prop_assert!(billed >= minutes.max(minimum));
            prop_assert!(billed < minutes.max(minimum) + increment);
        }

        #[test]
        fn a_task_costs_what_its_hours_cost_by_the_clock_without_minimum(
            quarters in 1_u32..80, rate in 0_i64..50_000, after: bool, two: bool,
        ) {
            let terms = LabourTerms { minimum_minutes: 0, ..LabourTerms::usual(Cents(rate)) };
            let hours = if after { WorkHours::AfterHours } else { WorkHours::Regular };
            let crew = if two { Crew::Two } else { Crew::One };
            let task = flat_rate(Decimal::new(i64::from(quarters) * 25, 2), &terms, hours, crew).unwrap();
            prop_assert_eq!(task, labour(quarters * 15, &terms, hours, crew).unwrap().cents);
            let with_minimum = LabourTerms { minimum_minutes: 600, ..terms };
            let same = flat_rate(Decimal::new(i64::from(quarters) * 25, 2), &with_minimum, hours, crew);
            prop_assert_eq!(same, Ok(task));
        }
    }
}
