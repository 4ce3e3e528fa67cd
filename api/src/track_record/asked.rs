//! What a question about rates names: days, window, and as of when.

use chrono::{Datelike, Days, Months, NaiveDate};

use crate::base::{Act, Checks, ProblemCode, Result};
use crate::callbacks::outcomes::Watch;
use crate::shop;

/// Most days of a window: two years, as far as a second same failure is watched.
const WINDOW_DAYS_MAX: u32 = 730;
/// Most years of a span.
const SPAN_YEARS_MAX: u32 = 10;
/// Months looked at unless somebody says otherwise.
const SPAN_MONTHS_USUAL: u32 = 24;

/// The watch that was asked for; the shop's own window and the two years through today for what was left out.
///
/// # Errors
/// `OutOfRange` at `windowDays` or `from`; `ImpossibleDate` at `from` or `through`.
pub async fn checked(
    act: &Act,
    window_days: Option<i32>,
    (from, through): (Option<NaiveDate>, Option<NaiveDate>),
) -> Result<Watch> {
    let settings = shop::settings(act.app.db.read()).await?;
    let today = settings.day_of(act.at);
    let mut checks = Checks::new();
    let through = through.unwrap_or(today);
    checks.not_after("through", through, today);
    let usual = Months::new(SPAN_MONTHS_USUAL);
    let from = match from {
        Some(from) => checks.not_after("from", from, today),
        None => (through.checked_sub_months(usual))
            .and_then(|before| before.checked_add_days(Days::new(1)))
            .filter(|from| from.year() > 0)
            .unwrap_or(through),
    };
    if from <= today {
        checks.in_order(&[
            ("from", "The first day", Some(from)),
            ("through", "The last day", Some(through)),
        ]);
    }
    for (path, day) in [("from", from), ("through", through)] {
        if day.year() < 1 {
            let message = "Days begin with the year 1.";
            checks.refuse(ProblemCode::ImpossibleDate, path, message);
        }
    }
    let longest = Months::new(12 * SPAN_YEARS_MAX);
    if through
        .checked_sub_months(longest)
        .is_some_and(|first| from < first)
    {
        let message = format!("Ask for at most {SPAN_YEARS_MAX} years at once.");
        checks.refuse(ProblemCode::OutOfRange, "from", message);
    }
    let own = u32::try_from(settings.row.callback_window_days)
        .unwrap_or(0)
        .max(1);
    let window_days = match window_days {
        None => own,
        Some(days) => u32::try_from(days).unwrap_or(0),
    };
    if !(1..=WINDOW_DAYS_MAX).contains(&window_days) {
        let message = format!("A window has 1 to {WINDOW_DAYS_MAX} days.");
        checks.refuse(ProblemCode::OutOfRange, "windowDays", message);
    }
    checks.finish()?;
    Ok(Watch {
        from,
        through,
        window_days,
        today,
    })
}
