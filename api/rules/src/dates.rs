//! Calendar days: how a term of days, months or years is counted.
//!
//! Warranties, claim deadlines, callback windows and certificates all hang on a last day. It is worked out here, once,
//! so that two screens never disagree by a day. What must stay true: a term is counted from its start in one step,
//! never month by month; the first day is left out and the last day is in, up to local midnight.

use chrono::{Datelike, Days, Months, NaiveDate, Weekday};
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// A length of cover or of time allowed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "unit", content = "count")]
pub enum Term {
    /// Days of the calendar.
    Days(u32),
    /// Calendar months.
    Months(u32),
    /// Years, counted as twelve calendar months each.
    Years(u32),
}

/// Why a day could not be worked out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum DateRefusal {
    /// The term ends beyond the calendar this program can write.
    #[error("{start_on} plus {term:?} lies beyond the calendar")]
    BeyondCalendar { start_on: NaiveDate, term: Term },
    /// Something ends before it begins.
    #[error("{ended_on} lies before {began_on}")]
    EndsBeforeItBegins {
        began_on: NaiveDate,
        ended_on: NaiveDate,
    },
}

/// The last day of a cover that begins on `start_on`: the first day is left out, the last day is in.
///
/// Shape: a calendar day. "One year from 2024-06-15" runs through 2025-06-15.
///
/// # Errors
/// `BeyondCalendar` if there is no such day.
///
/// # Source
/// Council Regulation (EEC, Euratom) 1182/71 Art. 3; New York General Construction Law ss. 20, 30, 58; worked/dates.json.
pub fn cover_through(start_on: NaiveDate, term: Term) -> Result<NaiveDate, DateRefusal> {
    match term {
        Term::Days(days) => days_after(start_on, days),
        Term::Months(months) => months_after(start_on, months),
        Term::Years(years) => {
            let refusal = DateRefusal::BeyondCalendar { start_on, term };
            let months = years.checked_mul(12).ok_or(refusal)?;
            start_on
                .checked_add_months(Months::new(months))
                .ok_or(refusal)
        }
    }
}

/// The day `months` calendar months after `start_on`, counted from the start in one step.
///
/// Shape: the same day number, or the last day of a month that has no such day. Two months after 31 January is
/// 31 March, not 28 March.
///
/// # Errors
/// `BeyondCalendar` if there is no such day.
///
/// # Source
/// Council Regulation (EEC, Euratom) 1182/71 Art. 3(2)(c); New York General Construction Law ss. 30, 31.
pub fn months_after(start_on: NaiveDate, months: u32) -> Result<NaiveDate, DateRefusal> {
    start_on
        .checked_add_months(Months::new(months))
        .ok_or(DateRefusal::BeyondCalendar {
            start_on,
            term: Term::Months(months),
        })
}

/// The day `days` days after `start_on`; the starting day is not counted.
///
/// # Errors
/// `BeyondCalendar` if there is no such day.
pub fn days_after(start_on: NaiveDate, days: u32) -> Result<NaiveDate, DateRefusal> {
    start_on
        .checked_add_days(Days::new(u64::from(days)))
        .ok_or(DateRefusal::BeyondCalendar {
            start_on,
            term: Term::Days(days),
        })
}

/// Whole days from `earlier_on` to `later_on`: 0 on the same day, negative when `later_on` comes first.
#[must_use]
pub fn whole_days_between(earlier_on: NaiveDate, later_on: NaiveDate) -> i64 {
    later_on.signed_duration_since(earlier_on).num_days()
}

/// What happens when a last day falls on a weekend or holiday.
///
/// The default leaves the day: cover ends when it ends. Acts to be done, such as filing a claim, may move on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Roll {
    /// The last day stays where the count put it.
    #[default]
    Stay,
    /// The last day moves to the next day that is no Saturday, Sunday or holiday.
    NextOpenDay,
}

/// The last day after the rolling rule.
///
/// # Errors
/// `BeyondCalendar` if the calendar ends before an open day comes.
///
/// # Source
/// Fed. R. Civ. P. 6(a)(1); New York General Construction Law s. 25-a (why it is a setting); worked/dates.json.
pub fn rolled(
    last_on: NaiveDate,
    roll: Roll,
    holidays: &[NaiveDate],
) -> Result<NaiveDate, DateRefusal> {
    let mut day = last_on;
    while roll == Roll::NextOpenDay && is_closed(day, holidays) {
        day = days_after(day, 1)?;
    }
    Ok(day)
}

fn is_closed(day: NaiveDate, holidays: &[NaiveDate]) -> bool {
    matches!(day.weekday(), Weekday::Sat | Weekday::Sun) || holidays.contains(&day)
}

/// How the days a machine was out of use for repair are counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OutOfUseCount {
    /// Both the day it went and the day it came back: the longest count, and the default.
    #[default]
    BothEndDays,
    /// The difference of the two days.
    Elapsed,
    /// Only whole days in between.
    WholeDaysOnly,
}

/// Days by which a term grows because the machine was out of use for a covered repair.
///
/// Unit: days, never negative. A repair begun and finished on one day counts 1, 0 and 0 by the three ways.
///
/// # Errors
/// `EndsBeforeItBegins` if the machine came back before it went.
///
/// # Source
/// Cal. Civ. Code 1795.6 with the notice of 1793.1(a)(2) (the wording allows three counts); worked/dates.json.
pub fn days_out_of_use(
    began_on: NaiveDate,
    ended_on: NaiveDate,
    count: OutOfUseCount,
) -> Result<u32, DateRefusal> {
    let elapsed = u32::try_from(whole_days_between(began_on, ended_on))
        .map_err(|_| DateRefusal::EndsBeforeItBegins { began_on, ended_on })?;
    Ok(match count {
        OutOfUseCount::BothEndDays => elapsed.saturating_add(1),
        OutOfUseCount::Elapsed => elapsed,
        OutOfUseCount::WholeDaysOnly => elapsed.saturating_sub(1),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::worked::rows;
    use proptest::prelude::*;

    #[derive(Deserialize)]
    struct Start {
        start_on: NaiveDate,
        term: Term,
    }

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a day")
    }

    /// Council Regulation 1182/71, New York General Construction Law, Cal. Civ. Code and others, as named in each row.
    #[test]
    fn every_worked_term_ends_on_its_day() {
        for row in rows::<Start, NaiveDate>(include_str!("../../../fixtures/worked/dates.json")) {
            assert_eq!(
                cover_through(row.input.start_on, row.input.term),
                Ok(row.expected),
                "{}",
                row.source
            );
        }
    }

    /// Cal. Civ. Code 1793.01: bought 1 May 2024, delivered 15 June 2024, cover starts at delivery.
    #[test]
    fn a_year_from_delivery_ends_in_june_not_a_year_from_the_sale() {
        assert_eq!(
            cover_through(day("2024-06-15"), Term::Years(1)),
            Ok(day("2025-06-15"))
        );
        assert_eq!(
            cover_through(day("2024-05-01"), Term::Years(1)),
            Ok(day("2025-05-01"))
        );
    }

    /// Cal. Civ. Code 1793.4.
    #[test]
    fn thirty_days_to_repair_from_the_fifteenth_of_january_end_on_the_fourteenth_of_february() {
        assert_eq!(days_after(day("2025-01-15"), 30), Ok(day("2025-02-14")));
    }

    /// Michigan's 30-day labour floor (Attorney General alert on MCL 445.833).
    #[test]
    fn thirty_days_of_labour_from_the_first_of_april_end_on_the_first_of_may() {
        assert_eq!(
            cover_through(day("2025-04-01"), Term::Days(30)),
            Ok(day("2025-05-01"))
        );
    }

    /// New York General Construction Law s. 58, computed: a year over the leap day is 366 days long.
    #[test]
    fn a_year_over_a_leap_day_lasts_366_days() {
        let last_on = cover_through(day("2023-03-01"), Term::Years(1)).expect("a day");
        assert_eq!(whole_days_between(day("2023-03-01"), last_on), 366);
    }

    /// Council Regulation 1182/71 Art. 3(2)(c): count from the start, never month by month.
    #[test]
    fn two_months_in_one_step_differ_from_two_steps_of_one_month() {
        let one_step = months_after(day("2025-01-31"), 2);
        let two_steps = months_after(months_after(day("2025-01-31"), 1).expect("a day"), 1);
        assert_eq!(one_step, Ok(day("2025-03-31")));
        assert_eq!(two_steps, Ok(day("2025-03-28")));
    }

    /// Fed. R. Civ. P. 6(a)(1): Friday 16 May 2025 plus ten days is Memorial Day, so the next day.
    #[test]
    fn a_last_day_on_a_holiday_rolls_on_only_when_asked() {
        let last_on = days_after(day("2025-05-16"), 10).expect("a day");
        let holidays = [day("2025-05-26")];
        assert_eq!(
            rolled(last_on, Roll::NextOpenDay, &holidays),
            Ok(day("2025-05-27"))
        );
        assert_eq!(
            rolled(last_on, Roll::Stay, &holidays),
            Ok(day("2025-05-26"))
        );
        assert_eq!(
            rolled(day("2025-05-24"), Roll::NextOpenDay, &holidays),
            Ok(day("2025-05-27"))
        );
    }

    /// New York General Construction Law 25-a: the days of statutes move on; those of contracts do not unless said.
    #[test]
    fn a_day_stays_unless_it_is_told_to_move_on() {
        let saturday = day("2025-05-24");
        assert_eq!(rolled(saturday, Roll::default(), &[]), Ok(saturday));
    }

    /// Cal. Civ. Code 1795.6, computed by the three readings of "whole days".
    #[test]
    fn out_of_use_days_extend_a_term_by_fifteen_fourteen_or_thirteen() {
        let extended = |count| {
            let days = days_out_of_use(day("2025-02-20"), day("2025-03-06"), count).expect("days");
            days_after(day("2025-03-10"), days)
        };
        assert_eq!(extended(OutOfUseCount::BothEndDays), Ok(day("2025-03-25")));
        assert_eq!(extended(OutOfUseCount::Elapsed), Ok(day("2025-03-24")));
        assert_eq!(
            extended(OutOfUseCount::WholeDaysOnly),
            Ok(day("2025-03-23"))
        );
    }

    #[test]
    fn a_machine_back_before_it_went_is_refused() {
        let (began_on, ended_on) = (day("2025-03-06"), day("2025-02-20"));
        assert_eq!(
            days_out_of_use(began_on, ended_on, OutOfUseCount::Elapsed),
            Err(DateRefusal::EndsBeforeItBegins { began_on, ended_on })
        );
    }

    #[test]
    fn a_term_beyond_the_calendar_is_refused_not_wrapped() {
        for term in [
            Term::Days(u32::MAX),
            Term::Months(u32::MAX),
            Term::Years(u32::MAX),
        ] {
            let start_on = day("2025-01-01");
            assert_eq!(
                cover_through(start_on, term),
                Err(DateRefusal::BeyondCalendar { start_on, term })
            );
        }
    }

    fn any_day() -> impl Strategy<Value = NaiveDate> {
        (0u32..40_000).prop_map(|days| days_after(day("1990-01-01"), days).expect("a day"))
    }

    proptest! {
        #[test]
        fn more_months_never_end_sooner(start_on in any_day(), months in 0u32..600) {
            prop_assert!(months_after(start_on, months)? < months_after(start_on, months + 1)?);
        }

        #[test]
        fn a_later_start_never_ends_sooner(a in any_day(), b in any_day(), months in 0u32..600) {
            prop_assert!(months_after(a.min(b), months)? <= months_after(a.max(b), months)?);
        }

        #[test]
        fn days_after_and_days_between_undo_each_other(start_on in any_day(), days in 0u32..20_000) {
            prop_assert_eq!(whole_days_between(start_on, days_after(start_on, days)?), i64::from(days));
        }
    }
}
