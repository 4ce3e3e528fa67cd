//! The shop's months on a control chart.

use chrono::{Datelike, NaiveDate};
use nameplate_rules::rates::Share;
use nameplate_rules::rates::months::{Point, baseline, point};
use nameplate_rules::rates::survival::{CallbackRate, Counts, callback_rate};
use sea_orm::ConnectionTrait;

use crate::base::Result;
use crate::callbacks::outcomes::{Monthly, Watch, by_month, observed};

/// Months of a span, oldest first, and the mean they are held against.
pub struct Months {
    pub watch: Watch,
    /// The share returned over all months whose windows are over; `None` while they are fewer than a year.
    pub mean: Option<f64>,
    pub months: Vec<Month>,
}

/// The repairs completed in one month.
pub struct Month {
    pub first_on: NaiveDate,
    pub counts: Counts,
    /// Whether it lies whole in the span and the windows of all its repairs are over.
    pub is_over: bool,
    /// For a month whose windows still run what is known so far.
    pub rate: Option<CallbackRate>,
    /// Against the mean; only for months whose windows are over.
    pub point: Option<Point>,
}

/// The months of a span, from the first day of its first month on: a month that began before the span would be held
/// against whole ones. Repairs of today are in none of them yet.
///
/// # Errors
/// Internal only.
pub async fn months(db: &impl ConnectionTrait, watch: Watch) -> Result<Months> {
    let watch = Watch {
        from: watch.from.with_day(1).unwrap_or(watch.from),
        ..watch
    };
    let rows = by_month(db, &watch.before_today()).await?;
    let months = rows.iter().map(|row| (row, counts(row, &watch)));
    let months = months.collect::<Vec<_>>();
    let over = months
        .iter()
        .filter(|(row, _)| row.is_over)
        .map(|(_, counts)| share(*counts))
        .collect::<Vec<_>>();
    let mean = baseline(&over);
    Ok(Months {
        watch,
        mean,
        months: months
            .into_iter()
            .map(|(row, counts)| Month {
                first_on: row.month,
                counts,
                is_over: row.is_over,
                rate: callback_rate(row.repairs.iter().map(observed), watch.window_days),
                point: mean
                    .filter(|_| row.is_over)
                    .and_then(|mean| point(share(counts), mean)),
            })
            .collect(),
    })
}

fn counts(row: &Monthly, watch: &Watch) -> Counts {
    Counts::of(row.repairs.iter().map(observed), watch.window_days)
}

fn share(counts: Counts) -> Share {
    Share {
        returned: counts.returned,
        repairs: counts.repairs,
    }
}
