//! When a segment runs: from which day through which, and what lengthens or ends it.
//!
//! What must stay true: the last day is inside; a term is counted from its start in one step, so that the 31st and
//! 29 February end on the last day of a shorter month; days out of use lengthen a cover that still ran when they began.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::programme::{Registration, Segment};
use crate::dates::{self, DateRefusal, Roll};

/// The days of a segment on one machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SegmentDates {
    pub from_on: NaiveDate,
    pub through_on: NaiveDate,
    /// Days by which repairs lengthened it; they are inside `through_on`.
    pub lengthened_by: u32,
}

/// Why a segment is in force on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "by")]
pub enum Held {
    /// The day lies between its dates.
    Dates { dates: SegmentDates },
    /// The start is not known, but it cannot have been earlier than this, and even then the day is inside.
    EarliestStart { dates: SegmentDates },
    /// It ended, but a covered repair of the same failure did not hold.
    FailedRepair {
        completed_on: NaiveDate,
        through_on: NaiveDate,
    },
}

/// How a segment stands on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "standing")]
pub enum Standing {
    InForce { held: Held },
    StartUnknown,
    NotYet { dates: SegmentDates },
    Over { dates: SegmentDates, days_past: i64 },
    Lapsed { lapsed_on: NaiveDate },
}

/// An earlier repair of the same failure: the day it failed and the day the repair was done.
pub(super) type Repaired = (NaiveDate, NaiveDate);

/// The days of a segment that starts on this day.
///
/// # Errors
/// `BeyondCalendar`; `EndsBeforeItBegins` for days out of use that end before they begin.
///
/// # Source
/// Terms as in [`dates::cover_through`]; days out of use: Cal. Civ. Code 1795.6.
pub fn segment_dates(
    segment: &Segment,
    registration: &Registration,
    start_on: NaiveDate,
) -> Result<SegmentDates, DateRefusal> {
    let from_on = match segment.after {
        Some(term) => dates::days_after(dates::cover_through(start_on, term)?, 1)?,
        None => start_on,
    };
    let ends_on = dates::cover_through(start_on, segment.through)?;
    let mut through_on = ends_on;
    if let Some(count) = registration.programme.out_of_use {
        for (began_on, ended_on) in merged(&registration.out_of_use) {
            if began_on < start_on || began_on > through_on {
                continue;
            }
            let days = dates::days_out_of_use(began_on, ended_on, count)?;
            through_on = dates::days_after(through_on, days)?;
        }
    }
    let by = dates::whole_days_between(ends_on, through_on);
    Ok(SegmentDates {
        from_on,
        through_on,
        lengthened_by: u32::try_from(by).unwrap_or(0),
    })
}

/// How a segment stands on the day of a failure; `repaired` are earlier repairs of the same failure.
///
/// # Errors
/// As [`segment_dates`].
///
/// # Source
/// The days after a repair that did not hold: the notice of Cal. Civ. Code 1793.1(a)(2).
pub fn standing(
    segment: &Segment,
    registration: &Registration,
    failed_on: NaiveDate,
    repaired: &[Repaired],
) -> Result<Standing, DateRefusal> {
    if let Some(lapsed_on) = registration.lapsed_on.filter(|day| failed_on > *day) {
        return Ok(Standing::Lapsed { lapsed_on });
    }
    let Some(start_on) = registration.starts.of(segment.start) else {
        return from_earliest(segment, registration, failed_on);
    };
    let days = segment_dates(segment, registration, start_on)?;
    if failed_on < days.from_on {
        return Ok(Standing::NotYet { dates: days });
    }
    if failed_on <= days.through_on {
        let held = Held::Dates { dates: days };
        return Ok(Standing::InForce { held });
    }
    if let Some(held) = failed_repair(&days, registration, failed_on, repaired)? {
        return Ok(Standing::InForce { held });
    }
    Ok(Standing::Over {
        dates: days,
        days_past: dates::whole_days_between(days.through_on, failed_on),
    })
}

/// What can be said while the start is not known: nothing, unless the day is inside in any case.
fn from_earliest(
    segment: &Segment,
    registration: &Registration,
    failed_on: NaiveDate,
) -> Result<Standing, DateRefusal> {
    let earliest_on = registration.starts.not_before(segment.start);
    let (Some(start_on), None) = (earliest_on, segment.after) else {
        return Ok(Standing::StartUnknown);
    };
    let days = segment_dates(segment, registration, start_on)?;
    if (days.from_on..=days.through_on).contains(&failed_on) {
        let held = Held::EarliestStart { dates: days };
        return Ok(Standing::InForce { held });
    }
    Ok(Standing::StartUnknown)
}

/// The covered repair that did not hold, if the failure came soon enough after it.
fn failed_repair(
    days: &SegmentDates,
    registration: &Registration,
    failed_on: NaiveDate,
    repaired: &[Repaired],
) -> Result<Option<Held>, DateRefusal> {
    let Some(allowed) = registration.programme.failed_repair_days else {
        return Ok(None);
    };
    let mut repaired = repaired.to_vec();
    repaired.sort_unstable();
    // A repair under this rule is a covered repair itself, so one may follow another.
    let mut until: Option<(NaiveDate, NaiveDate)> = None;
    for (earlier_on, completed_on) in repaired {
        let in_dates = (days.from_on..=days.through_on).contains(&earlier_on);
        let in_chain = until.is_some_and(|(_, through_on)| earlier_on <= through_on);
        if completed_on <= failed_on && (in_dates || in_chain) {
            until = Some((completed_on, dates::days_after(completed_on, allowed)?));
        }
    }
    Ok(until
        .filter(|(_, through_on)| failed_on <= *through_on)
        .map(|(completed_on, through_on)| Held::FailedRepair {
            completed_on,
            through_on,
        }))
}

/// Stretches of days in order, those that touch or overlap made one, so that no day counts twice.
fn merged(stretches: &[(NaiveDate, NaiveDate)]) -> Vec<(NaiveDate, NaiveDate)> {
    let mut sorted = stretches.to_vec();
    sorted.sort_unstable();
    let mut merged: Vec<(NaiveDate, NaiveDate)> = Vec::with_capacity(sorted.len());
    for (began_on, ended_on) in sorted {
        match merged.last_mut() {
            Some(last) if began_on <= last.1 => last.1 = last.1.max(ended_on),
            _ => merged.push((began_on, ended_on)),
        }
    }
    merged
}

/// The day on which cover that belongs to the owner lapses: the first change of hands after it began.
#[must_use]
pub fn lapsed_on(began_on: NaiveDate, changes: &[NaiveDate]) -> Option<NaiveDate> {
    changes.iter().copied().filter(|day| *day > began_on).min()
}

/// The last day to file a claim: so many days after the work was completed, moved on as the payer's terms say.
///
/// # Errors
/// `BeyondCalendar`.
///
/// # Source
/// Fed. R. Civ. P. 6(a)(1) for the count and for moving on; a payer's own terms come first.
pub fn file_by(completed_on: NaiveDate, days: u32, roll: Roll) -> Result<NaiveDate, DateRefusal> {
    dates::rolled(dates::days_after(completed_on, days)?, roll, &[])
}
