//! Repairs done on the first visit, month by month, as a picture.

use std::collections::BTreeMap;
use std::iter::successors;

use chrono::{Datelike, Months, NaiveDate};
use nameplate_pictures::{Caption, Chart, Lines, Picture, Series};
use nameplate_rules::plural::counted;
use rust_decimal::prelude::ToPrimitive;

use crate::base::{Act, Error, ProblemCode, Result, Role, wording};
use crate::reports::{self, Completed, Span};
use crate::track_record::{self, off_thread};

/// What is counted in some days, as of today.
pub struct ByMonth {
    all: Completed,
    without_visit: i64,
    months: BTreeMap<NaiveDate, Completed>,
    span: Span,
    today: NaiveDate,
}

impl ByMonth {
    /// Reads it.
    ///
    /// # Errors
    /// Internal only.
    pub async fn read(act: &Act, span: Span, today: NaiveDate) -> Result<Self> {
        let found = reports::first_visits(act.app.db.read(), act, span).await?;
        Ok(Self {
            all: found.all,
            without_visit: found.without_visit,
            months: found.months.into_iter().collect(),
            span,
            today,
        })
    }

    /// Draws it; a month without a completed call has no point.
    #[must_use]
    pub fn picture(&self) -> Picture {
        let all = self.all;
        let last = self.months.keys().next_back().copied();
        let months = successors(self.months.keys().next().copied(), |month| {
            month.checked_add_months(Months::new(1))
        });
        let months = months.take_while(|month| Some(*month) <= last);
        let (names, values) = months
            .map(|month| {
                let percent = self.months.get(&month).and_then(|done| done.percent());
                let percent = percent.and_then(|percent| percent.to_f64());
                (month.format("%b %y").to_string(), percent)
            })
            .unzip();
        let chart = Lines {
            caption: Caption {
                title: "Repairs done on the first visit".to_owned(),
                subtitle: format!(
                    "By month of completion. {} of {} completed {} to {} took one visit; as of {}.",
                    all.first_visit,
                    counted(all.calls, "repair", "repairs"),
                    wording::day(self.span.from),
                    wording::day(self.span.to),
                    wording::day(self.today),
                ),
                note: match self.without_visit {
                    0 => String::new(),
                    1 => "One more has no visit on record and is left out.".to_owned(),
                    several => format!("{several} more have no visit on record and are left out."),
                },
            },
            axis: "Repairs done on the first visit, percent".to_owned(),
            months: names,
            series: vec![Series {
                label: "One visit".to_owned(),
                values,
            }],
        };
        chart.picture()
    }
}

/// The picture for the desk, from the first day of the first month on.
///
/// # Errors
/// `Forbidden` for technicians; those of `track_record::checked`.
pub async fn picture(act: &Act, days: (Option<NaiveDate>, Option<NaiveDate>)) -> Result<Picture> {
    let (_, role) = act.staff()?;
    if role == Role::Technician {
        return Err(Error::Forbidden);
    }
    let watch = track_record::checked(act, None, days).await?;
    let from = watch.from.with_day(1).unwrap_or(watch.from);
    let span = Span::new(from, watch.through)
        .map_err(|message| Error::refused(ProblemCode::OutOfRange, "from", message))?;
    let by_month = ByMonth::read(act, span, watch.today).await?;
    off_thread("drawing a picture", move || by_month.picture()).await
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a day")
    }

    fn by_month(months: &[(&str, Completed)]) -> ByMonth {
        let all = months
            .iter()
            .fold(Completed::default(), |all, (_, row)| Completed {
                calls: all.calls + row.calls,
                first_visit: all.first_visit + row.first_visit,
            });
        ByMonth {
            all,
            without_visit: 1,
            months: (months.iter())
                .map(|(month, row)| (day(month), *row))
                .collect(),
            span: Span {
                from: day("2026-01-01"),
                to: day("2026-04-30"),
            },
            today: day("2026-05-03"),
        }
    }

    #[test]
    fn months_are_told_with_what_they_rest_on_and_an_empty_one_stands_between() {
        let done = |first_visit, calls| Completed { calls, first_visit };
        let picture = by_month(&[("2026-01-01", done(3, 4)), ("2026-04-01", done(1, 2))]).picture();
        let told = &picture.alternative;
        assert!(told.contains("4 of 6 repairs"), "{told}");
        assert!(told.contains("75 % in Jan 26"), "{told}");
        assert!(told.contains("50 % in Apr 26"), "{told}");
        assert!(picture.svg.contains("Feb 26"), "{}", picture.svg);
        assert!(picture.svg.contains("no visit on record"));
    }

    #[test]
    fn without_a_completed_repair_there_is_nothing_to_show() {
        let told = by_month(&[]).picture().alternative;
        assert!(told.contains("There is nothing to show yet"), "{told}");
    }
}
