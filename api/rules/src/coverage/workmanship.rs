//! The shop's own warranty on its work.
//!
//! It is written by itself when a call completes, so that nobody has to remember it, and read when the phone rings
//! again. What must stay true: the day of completion is not counted and the last day is inside; a failure on the day of
//! completion itself is covered; terms of zero mean no cover, not cover for a day.

use crate::dates::{self, DateRefusal, Term};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// What the shop promises on its own work. Default: labour 90 days, parts 12 months. Zero means none.
///
/// A legal floor may ask for more than a shop sets: Michigan's is 30 days of labour (Attorney General alert on
/// MCL 445.833).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct WorkmanshipTerms {
    pub labour_days: u32,
    pub parts_months: u32,
}

impl Default for WorkmanshipTerms {
    fn default() -> Self {
        Self {
            labour_days: 90,
            parts_months: 12,
        }
    }
}

/// The shop's warranty on one completed call. A missing date means that nothing was promised.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Workmanship {
    pub completed_on: NaiveDate,
    /// Last day of free labour.
    pub labour_through: Option<NaiveDate>,
    /// Last day of free parts.
    pub parts_through: Option<NaiveDate>,
}

/// Whether one promise holds on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "cover")]
pub enum Cover {
    /// Nothing was promised.
    NonePromised,
    /// The work was not yet complete on that day.
    NotYet { from_on: NaiveDate },
    /// Covered; `days_left` is 0 on the last day.
    Inside {
        through_on: NaiveDate,
        days_left: i64,
    },
    /// Over; `days_past` is 1 on the day after the last.
    Over { ended_on: NaiveDate, days_past: i64 },
}

impl Cover {
    /// Whether the promise holds.
    #[must_use]
    pub fn holds(self) -> bool {
        matches!(self, Self::Inside { .. })
    }
}

/// What the shop's warranty gives on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct WorkmanshipStatus {
    pub labour: Cover,
    pub parts: Cover,
}

impl WorkmanshipTerms {
    /// Writes the warranty of a call completed on this day.
    ///
    /// # Errors
    /// `DateRefusal::BeyondCalendar` if a term ends beyond the calendar.
    ///
    /// # Source
    /// Counting of days and months as in [`dates`]; worked/coverage.json.
    ///
    /// # Example
    /// ```
    /// use nameplate_rules::coverage::WorkmanshipTerms;
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// let warranty = WorkmanshipTerms::default().written_on("2025-04-01".parse()?)?;
    /// assert_eq!(warranty.labour_through, Some("2025-06-30".parse()?));
    /// assert_eq!(warranty.parts_through, Some("2026-04-01".parse()?));
    /// # Ok(()) }
    /// ```
    pub fn written_on(self, completed_on: NaiveDate) -> Result<Workmanship, DateRefusal> {
        let through = |count: u32, term: Term| {
            if count == 0 {
                Ok(None)
            } else {
                dates::cover_through(completed_on, term).map(Some)
            }
        };
        Ok(Workmanship {
            completed_on,
            labour_through: through(self.labour_days, Term::Days(self.labour_days))?,
            parts_through: through(self.parts_months, Term::Months(self.parts_months))?,
        })
    }
}

impl Workmanship {
    /// What the warranty gives on a day, labour and parts apart.
    #[must_use]
    pub fn status(&self, on: NaiveDate) -> WorkmanshipStatus {
        WorkmanshipStatus {
            labour: self.cover(self.labour_through, on),
            parts: self.cover(self.parts_through, on),
        }
    }

    fn cover(&self, through: Option<NaiveDate>, on: NaiveDate) -> Cover {
        let Some(through_on) = through else {
            return Cover::NonePromised;
        };
        if on < self.completed_on {
            return Cover::NotYet {
                from_on: self.completed_on,
            };
        }
        let days_left = dates::whole_days_between(on, through_on);
        if days_left >= 0 {
            Cover::Inside {
                through_on,
                days_left,
            }
        } else {
            Cover::Over {
                ended_on: through_on,
                days_past: dates::whole_days_between(through_on, on),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::worked::rows;
    use proptest::prelude::*;

    #[derive(Deserialize)]
    struct Case {
        terms: WorkmanshipTerms,
        completed_on: NaiveDate,
        failed_on: NaiveDate,
    }

    #[derive(Deserialize)]
    struct Free {
        labour: bool,
        parts: bool,
    }

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a day")
    }

    /// Michigan's 30-day labour floor and the shop's own defaults; each row names its source.
    #[test]
    fn worked_failures_are_free_or_not_by_labour_and_parts() {
        for row in rows::<Case, Free>(include_str!("../../../../fixtures/worked/coverage.json")) {
            let warranty = row
                .input
                .terms
                .written_on(row.input.completed_on)
                .expect("a warranty");
            let status = warranty.status(row.input.failed_on);
            assert_eq!(
                status.labour.holds(),
                row.expected.labour,
                "labour on {}: {}",
                row.input.failed_on,
                row.source
            );
            assert_eq!(
                status.parts.holds(),
                row.expected.parts,
                "parts on {}: {}",
                row.input.failed_on,
                row.source
            );
        }
    }

    #[test]
    fn the_last_day_has_no_days_left_and_the_next_is_one_past() {
        let warranty = WorkmanshipTerms {
            labour_days: 30,
            parts_months: 0,
        }
        .written_on(day("2025-04-01"))
        .expect("a warranty");
        assert_eq!(
            warranty.status(day("2025-05-01")).labour,
            Cover::Inside {
                through_on: day("2025-05-01"),
                days_left: 0
            }
        );
        assert_eq!(
            warranty.status(day("2025-05-02")).labour,
            Cover::Over {
                ended_on: day("2025-05-01"),
                days_past: 1
            }
        );
        assert_eq!(
            warranty.status(day("2025-05-01")).parts,
            Cover::NonePromised
        );
        assert_eq!(
            warranty.status(day("2025-03-31")).labour,
            Cover::NotYet {
                from_on: day("2025-04-01")
            }
        );
    }

    proptest! {
        #[test]
        fn cover_once_over_never_comes_back(labour_days in 1u32..800, on in 0u32..2_000) {
            let start_on = day("2024-01-31");
            let warranty = WorkmanshipTerms { labour_days, parts_months: 12 }.written_on(start_on)?;
            let today = dates::days_after(start_on, on)?;
            let tomorrow = dates::days_after(today, 1)?;
            prop_assert!(warranty.status(today).labour.holds() || !warranty.status(tomorrow).labour.holds());
            prop_assert_eq!(warranty.status(today).labour.holds(), on <= labour_days);
        }
    }
}
