//! What the track record says of a month: rates with what they rest on, what to look at first, and pictures.

use std::cmp::Reverse;

use chrono::{Days, Months, NaiveDate};
use nameplate_entities::kinds::Dimension;
use nameplate_pictures::Picture;
use nameplate_rules::plural::counted;
use nameplate_rules::rates::judge::Verdict;

use crate::base::letter::SummaryPicture;
use crate::base::{Act, Error, Result};
use crate::callbacks::outcomes::Watch;
use crate::reports::{self, Span};
use crate::shop;
use crate::track_record::{self, Group, Months as Chart, Rates, off_thread};

use super::first_visits::ByMonth;
use super::{Told, flags};

/// Months of completion that a rate rests on.
const MONTHS: u32 = 12;
/// Months on the chart.
const CHART_MONTHS: u32 = 24;
/// Most groups looked at in one table.
const GROUPS_MAX: usize = 30;
/// Most groups that are told as worse.
const WORSE_MAX: usize = 3;
/// What a component is held against.
const ALL_WORK: &str = "as many repairs of any kind";

/// What the record of a month adds to its figures.
pub struct Record {
    pub callback_rate: Option<Told>,
    pub first_visit: Option<Told>,
    pub worries: Vec<String>,
    pub pictures: Vec<SummaryPicture>,
}

/// Reads it, as of today.
///
/// # Errors
/// Internal only.
pub async fn of_month(act: &Act, span: Span) -> Result<Record> {
    let db = act.app.db.read();
    let settings = shop::settings(db).await?;
    let window_days = u32::try_from(settings.row.callback_window_days).unwrap_or(0);
    let watch = |months: u32| Watch {
        from: begin(span.to, months),
        through: span.to,
        window_days: window_days.max(1),
        today: settings.day_of(act.at),
    };
    let by_component =
        track_record::rates(db, Dimension::Component, watch(MONTHS), GROUPS_MAX).await?;
    let chart = track_record::months(db, watch(CHART_MONTHS)).await?;
    let days = Span {
        from: begin(span.to, CHART_MONTHS),
        to: span.to,
    };
    let visits = ByMonth::read(act, days, settings.day_of(act.at)).await?;
    let mut groups = Vec::new();
    for dimension in [
        Dimension::Lot,
        Dimension::TechnicianMethod,
        Dimension::Model,
    ] {
        let table = track_record::rates(db, dimension, watch(MONTHS), GROUPS_MAX).await?;
        groups.extend(worse(&table, "similar work", &settings.row.currency));
    }
    groups.extend(worse(&by_component, ALL_WORK, &settings.row.currency));
    let mut worries = flags::open(db).await?;
    worries.extend(groups.into_iter().take(WORSE_MAX));
    Ok(Record {
        callback_rate: callback_rate(&by_component),
        first_visit: first_visit(act, span).await?,
        worries,
        pictures: pictures((chart, visits), by_component, settings.row.currency).await?,
    })
}

fn begin(through: NaiveDate, months: u32) -> NaiveDate {
    let before = (through + Days::new(1)).checked_sub_months(Months::new(months));
    before.unwrap_or(through)
}

fn callback_rate(table: &Rates) -> Option<Told> {
    let rate = table.shop.rate?;
    let limits = rate.shown?;
    Some(Told {
        value: format!(
            "{} ({} to {})",
            percent(rate.value),
            percent(limits.low),
            percent(limits.high)
        ),
        basis: format!(
            "within {}; {}",
            counted(rate.at_days, "day", "days"),
            track_record::came_back(table.shop.counts, &format!(" of the last {MONTHS} months")),
        ),
    })
}

fn percent(share: f64) -> String {
    format!("{:.1} %", share * 100.0)
}

async fn first_visit(act: &Act, span: Span) -> Result<Option<Told>> {
    let all = reports::first_visits(act.app.db.read(), act, span)
        .await?
        .all;
    Ok(all.percent().zip(all.limits()).map(|(share, limits)| Told {
        value: format!(
            "{share} % ({} to {})",
            percent(limits.low),
            percent(limits.high)
        ),
        basis: format!(
            "{} of {} completed in the month",
            all.first_visit,
            counted(all.calls, "call", "calls")
        ),
    }))
}

/// The groups of a table that come back more often than chance explains, what costs most first; `like_it` is the work that
/// they are held against.
fn worse(table: &Rates, like_it: &str, currency: &str) -> Vec<String> {
    let mut groups: Vec<&Group> = (table.groups.iter())
        .filter(|group| group.figures.verdict == Verdict::Worse)
        .collect();
    groups.sort_by_key(|group| Reverse(group.lost));
    groups
        .into_iter()
        .map(|group| {
            let counts = group.figures.counts;
            format!(
                "{}: {} of {} came back, where {like_it} would give about {:.1}; they cost {currency} {}.",
                group.label,
                counts.returned,
                counted(counts.repairs, "repair", "repairs"),
                group.figures.compared.expected,
                group.lost
            )
        })
        .collect()
}

/// Drawn and made pixels of off the runtime's threads, as that takes a while.
async fn pictures(
    (chart, visits): (Chart, ByMonth),
    table: Rates,
    currency: String,
) -> Result<Vec<SummaryPicture>> {
    off_thread("drawing the pictures of a month", move || {
        let by = "By component";
        [
            ("Month by month", track_record::of_months(&chart)),
            ("Component by component", track_record::of_rates(&table, by)),
            (
                "What it cost",
                track_record::of_money(&table, by, &currency),
            ),
            ("On the first visit", visits.picture()),
        ]
        .into_iter()
        .map(|(title, picture)| in_mail(title, &picture))
        .collect::<Result<Vec<_>>>()
    })
    .await?
}

fn in_mail(title: &str, picture: &Picture) -> Result<SummaryPicture> {
    let png = picture.png();
    let png = png.map_err(|error| Error::caused("a picture of a month", error))?;
    Ok(SummaryPicture::new(title, &picture.alternative, &png))
}
