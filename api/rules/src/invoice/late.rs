//! Late charges: so much a month of what is overdue, or a fixed sum, once for each month begun.
//!
//! Whether and how much a place lets a shop charge is for its law to say; here is only the arithmetic.

use chrono::{Days, Months, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal};
use crate::percent::Percent;

/// What is charged for a month.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LateCharge {
    /// So many per hundred of what is open.
    Percent(Percent),
    /// So much, never more than is open.
    Amount(Cents),
}

/// The charge for one month on what is open, half up once.
///
/// # Errors
/// `MoneyRefusal::TooLarge`.
/// # Source
/// Common practice, no source.
pub fn late_charge(open: Cents, charge: LateCharge) -> Result<Cents, MoneyRefusal> {
    match charge {
        LateCharge::Percent(percent) => percent.of(open),
        LateCharge::Amount(amount) => Ok(amount.min(open)),
    }
}

/// The first day after the days of grace: from then on a charge may be made. None beyond the calendar.
#[must_use]
pub fn first_charge_on(due_on: NaiveDate, grace_days: u64) -> Option<NaiveDate> {
    due_on
        .checked_add_days(Days::new(grace_days))
        .and_then(|last| last.succ_opt())
}

/// The day on which the month after this day begins, counted from the due date. None beyond the calendar.
///
/// An invoice due on the 31st begins its months on the last day of shorter ones.
#[must_use]
pub fn next_month_on(due_on: NaiveDate, on: NaiveDate) -> Option<NaiveDate> {
    (1..).find_map(
        |months| match due_on.checked_add_months(Months::new(months)) {
            Some(begins) if begins <= on => None,
            found => Some(found),
        },
    )?
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn a_month_of_lateness_is_charged_once_and_half_a_cent_goes_up() {
        let percent = LateCharge::Percent(Percent::parse("1.5").unwrap());
        assert_eq!(late_charge(Cents(10_033), percent), Ok(Cents(150)));
        assert_eq!(late_charge(Cents(10_100), percent), Ok(Cents(152)));
        let fixed = LateCharge::Amount(Cents(2_000));
        assert_eq!(late_charge(Cents(50_000), fixed), Ok(Cents(2_000)));
        assert_eq!(late_charge(Cents(500), fixed), Ok(Cents(500)));
    }

    #[test]
    fn months_are_counted_from_the_due_date_and_grace_ends_with_its_last_day() {
        let due = day("2026-01-31");
        assert_eq!(first_charge_on(due, 0), Some(day("2026-02-01")));
        assert_eq!(first_charge_on(due, 10), Some(day("2026-02-11")));
        assert_eq!(
            next_month_on(due, day("2026-02-01")),
            Some(day("2026-02-28"))
        );
        assert_eq!(
            next_month_on(due, day("2026-02-28")),
            Some(day("2026-03-31"))
        );
    }
}
