//! Rates as pictures: what the charts of `nameplate_pictures` are filled with.

use chrono::NaiveDate;
use nameplate_entities::kinds::Dimension;
use nameplate_pictures::{
    AgeUnit, Bar, Caption, Chart, Curve, Judgement, Moment, Money as MoneyChart,
    Month as MonthPoint, Months as MonthsChart, Picture, RateRow, Rates as RatesChart, Visits,
};
use nameplate_rules::money::Cents;
use nameplate_rules::plural::counted;
use nameplate_rules::rates::judge::Verdict;
use nameplate_rules::rates::visits::Step;
use sea_orm::ConnectionTrait;

use crate::base::{Act, Error, ProblemCode, Result, Role, wording};
use crate::callbacks::outcomes::Watch;
use crate::shop;

use super::asked;
use super::machines::{self, Machines, Watched};
use super::months::{self, Month, Months};
use super::off_thread::off_thread;
use super::rates::{self, Group, Rates, came_back};
use super::store::lost;

/// Days of a year, for an axis.
const YEAR_DAYS: f64 = 365.25;
/// An axis of fewer days counts them and not years.
const YEARS_FROM_DAYS: u32 = 731;

/// The groups of a table with their intervals.
///
/// What nobody was followed for is not drawn as if it were known: a younger group says by which day its share is, and the
/// shop's line is left out.
#[must_use]
pub fn of_rates(rates: &Rates, by: &str) -> Picture {
    let window_days = rates.watch.window_days;
    let of_window = rates.shop.rate.filter(|rate| rate.at_days == window_days);
    let rows = (rates.groups.iter())
        .filter_map(|group| row(group, window_days))
        .collect::<Vec<_>>();
    let without_rate = rates.groups.len() - rows.len();
    let chart = RatesChart {
        caption: Caption {
            title: format!(
                "Repairs that came back within {}",
                counted(window_days, "day", "days")
            ),
            subtitle: format!(
                "{by}. {}. Completed {} to {}, as of {}.",
                came_back(rates.shop.counts, ""),
                wording::day(rates.watch.from),
                wording::day(rates.watch.through),
                wording::day(rates.watch.today),
            ),
            note: format!(
                "Lines are 95 % intervals. What costs most stands first; this is no ranking of people or makes.{}{}{}",
                cut(rates),
                match without_rate {
                    0 => String::new(),
                    1 => " One has no rate yet.".to_owned(),
                    several => format!(" {several} have no rate yet."),
                },
                match of_window {
                    Some(_) => "",
                    None =>
                        " No repair was watched for the whole window so far, so the shop has no line.",
                }
            ),
        },
        axis: "Repairs that came back, percent".to_owned(),
        rows,
        shop: of_window.map(|rate| rate.value * 100.0),
    };
    chart.picture()
}

/// What is said where there are more groups than are looked at.
fn cut(rates: &Rates) -> String {
    let shown = rates.groups.len();
    if shown == rates.groups_in_all {
        return String::new();
    }
    format!(" Shown are {shown} of {} groups.", rates.groups_in_all)
}

fn row(group: &Group, window_days: u32) -> Option<RateRow> {
    let rate = group.figures.rate?;
    let limits = rate.shown?;
    let label = if rate.at_days == window_days {
        group.label.clone()
    } else {
        // In front, as the end of a long label is cut.
        format!("By day {}: {}", rate.at_days, group.label)
    };
    Some(RateRow {
        label,
        n: whole(group.figures.counts.repairs),
        returned: whole(group.figures.counts.returned),
        rate: rate.value * 100.0,
        low: limits.low * 100.0,
        high: limits.high * 100.0,
        judgement: match group.figures.verdict {
            Verdict::TooFew => Judgement::TooFew,
            Verdict::AsExpected => Judgement::AsExpected,
            Verdict::Better => Judgement::Better,
            Verdict::Worse => Judgement::Worse,
        },
    })
}

fn whole(count: u64) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}

/// What the groups of a table cost, of which each repair has one or more.
#[must_use]
pub fn of_money(rates: &Rates, by: &str, currency: &str) -> Picture {
    of_money_with_rest(rates, (by, currency), None)
}

/// What repairs cost that are in no group, and what they had none of.
struct Rest {
    lost: Cents,
    had: &'static str,
}

impl Rest {
    /// `None` where each repair has a group, or the others cost nothing.
    async fn of(
        db: &impl ConnectionTrait,
        dimension: Dimension,
        watch: &Watch,
    ) -> Result<Option<Self>> {
        let had = match dimension {
            Dimension::Part => "no part",
            Dimension::Lot => "no batch",
            Dimension::Supplier => "no supplier on record",
            _ => return Ok(None),
        };
        let lost = lost::lost_without(db, dimension, &watch.before_today()).await?;
        Ok((lost.0 > 0).then_some(Self { lost, had }))
    }
}

fn of_money_with_rest(rates: &Rates, (by, currency): (&str, &str), rest: Option<Rest>) -> Picture {
    let money = |amount: Cents| format!("{currency} {amount}");
    let rest = rest.map_or_else(String::new, |rest| {
        if rest.lost == rates.shop.lost {
            format!("; all of it had {}", rest.had)
        } else {
            format!("; the rest, {}, had {}", money(rest.lost), rest.had)
        }
    });
    let costing = rates.groups.iter().filter(|group| group.lost.0 > 0);
    let chart = MoneyChart {
        caption: Caption {
            title: "What repairs that came back cost the shop".to_owned(),
            subtitle: format!(
                "{by}. {} in all, at cost{rest}. Repairs completed {} to {}, as of {}.",
                money(rates.shop.lost),
                wording::day(rates.watch.from),
                wording::day(rates.watch.through),
                wording::day(rates.watch.today),
            ),
            note: format!(
                "A call counts in each of its groups. Groups that cost nothing are left out.{}",
                cut(rates)
            ),
        },
        bars: costing
            .map(|group| Bar {
                label: group.label.clone(),
                amount: money(group.lost),
                length: length(group.lost.0),
            })
            .collect(),
    };
    chart.picture()
}

/// The length of a bar; nothing is added up from it.
fn length(cents: i64) -> f64 {
    i32::try_from(cents / 100).map_or(f64::from(i32::MAX), f64::from)
}

/// The shop's months on a control chart.
#[must_use]
pub fn of_months(months: &Months) -> Picture {
    let over = months.months.iter().filter(|month| month.is_over).count();
    let chart = MonthsChart {
        caption: Caption {
            title: format!(
                "Repairs that came back within {}, by month",
                counted(months.watch.window_days, "day", "days")
            ),
            subtitle: format!(
                "By month of completion; {}, as of {}.",
                counted(over, "month is over", "months are over"),
                wording::day(months.watch.today)
            ),
            note: "A month stands out where so many returns would come by chance at most 0.135 % of the time. \
                   The dashed line is that limit, by how many were repaired in the month: what stands out lies above it. \
                   A month without a line has too few repairs to stand out, or is not over; without twelve months \
                   there is no line yet."
                .to_owned(),
        },
        axis: "Repairs that came back, percent".to_owned(),
        months: without_gaps(&months.months),
        centre: months.mean.map(|mean| mean * 100.0),
    };
    chart.picture()
}

/// Every month from the first to the last, those without repairs too.
fn without_gaps(months: &[Month]) -> Vec<MonthPoint> {
    let mut points = Vec::new();
    let mut next = months.first().map(|month| month.first_on);
    for month in months {
        while let Some(empty) = next.filter(|first_on| *first_on < month.first_on) {
            points.push(MonthPoint {
                name: month_name(empty),
                mature: true,
                ..MonthPoint::default()
            });
            next = month_after(empty);
        }
        points.push(month_point(month));
        next = month_after(month.first_on);
    }
    points
}

fn month_after(first_on: NaiveDate) -> Option<NaiveDate> {
    first_on.checked_add_months(chrono::Months::new(1))
}

fn month_point(month: &Month) -> MonthPoint {
    let point = month.point;
    MonthPoint {
        name: month_name(month.first_on),
        counts: format!("{} of {}", month.counts.returned, month.counts.repairs),
        rate: month.rate.map(|rate| rate.value * 100.0),
        // Nothing is said of a month with few returns, so that a line would promise too much.
        lower: None,
        upper: point
            .and_then(|point| point.limit)
            .map(|limit| limit * 100.0),
        alarm: (point.filter(|point| point.alarm)).map(|_| "more than chance explains".to_owned()),
        mature: month.is_over,
    }
}

fn month_name(first_on: NaiveDate) -> String {
    first_on.format("%b %y").to_string()
}

/// Further repairs a machine of up to four models.
#[must_use]
pub fn of_machines(models: &[Machines], today: NaiveDate) -> Picture {
    let told = models
        .iter()
        .map(|model| {
            let machines = counted(model.machines, "machine", "machines");
            format!("{}: {machines}", model.label)
        })
        .chain([format!("as of {}", wording::day(today))])
        .collect::<Vec<_>>();
    let longest = models.iter().map(|model| model.watching.end.days).max();
    let (unit, axis) = if longest.unwrap_or_default() < YEARS_FROM_DAYS {
        (AgeUnit::Days, "Days since the first repair")
    } else {
        (AgeUnit::Years, "Years since the first repair")
    };
    let has_limits = |model: &Machines| model.steps.iter().any(|step| step.limits.is_some());
    let intervals = match (models.iter().any(has_limits), models.len()) {
        (false, _) => "",
        (true, ..=2) => "Bands are 95 %. ",
        (true, _) => "Upright lines beside the curves are 95 % intervals. ",
    };
    let chart = Visits {
        caption: Caption {
            title: "Further repairs a machine since its first repair here".to_owned(),
            subtitle: format!("{}.", told.join("; ")),
            note: format!(
                "{intervals}Where fewer than five machines are still watched the line is gray and says little."
            ),
        },
        age_axis: axis.to_owned(),
        age_unit: unit,
        mean_axis: "Further repairs a machine".to_owned(),
        curves: models.iter().map(|model| curve(model, unit)).collect(),
    };
    chart.picture()
}

/// From no repair at the first one, step by step to where watching ends.
fn curve(model: &Machines, unit: AgeUnit) -> Curve {
    let age = |days: u32| match unit {
        AgeUnit::Days => f64::from(days),
        AgeUnit::Years => f64::from(days) / YEAR_DAYS,
    };
    let at = |days: u32, step: Option<&Step>, machines: u32| Moment {
        age: age(days),
        mean: step.map_or(0.0, |step| step.mean),
        limits: step
            .and_then(|step| step.limits)
            .map(|limits| (limits.low, limits.high)),
        units: machines,
    };
    // Where the number that is watched falls the curve runs on as high as it is.
    let level = |watched: Watched| {
        let mut latest = model.steps.iter().rev();
        let step = latest.find(|step| step.age_days <= watched.days);
        at(watched.days, step, number(watched.machines))
    };
    let has_limits = model.steps.iter().any(|step| step.limits.is_some());
    let begin = Moment {
        limits: has_limits.then_some((0.0, 0.0)),
        ..at(0, None, number(model.machines))
    };
    let steps = (model.steps.iter()).map(|step| at(step.age_days, Some(step), whole(step.units)));
    let mut moments: Vec<Moment> = [begin].into_iter().chain(steps).collect();
    moments.extend(model.watching.few_after.map(level));
    moments.push(level(model.watching.end));
    // Of equal ages the step stays first.
    moments.sort_by(|a, b| a.age.total_cmp(&b.age));
    Curve {
        label: model.label.clone(),
        moments,
    }
}

fn number(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}

/// Which picture is asked for.
pub struct PictureAsked {
    pub chart: String,
    /// By what repairs are grouped, for charts of groups: a dimension as the graph names it.
    pub by: Option<String>,
    /// Keys of models, for the chart of machines.
    pub models: Vec<String>,
    pub window_days: Option<i32>,
    pub span: (Option<NaiveDate>, Option<NaiveDate>),
}

/// Most models in one picture.
const MODELS_MAX: usize = 4;
/// Most groups in one picture.
const GROUPS_MAX: usize = 30;
/// What is done when it breaks.
const DRAWING: &str = "drawing a picture";

/// Draws a picture; `None` where there is no such chart.
///
/// # Errors
/// `Forbidden` for technicians, and for charts of people for all but the owner; `Malformed` at `by`; `OutOfRange` and
/// `NotFound` at `models`; those of `checked`.
pub async fn picture(act: &Act, asked: PictureAsked) -> Result<Option<Picture>> {
    let (_, role) = act.staff()?;
    if role == Role::Technician {
        return Err(Error::Forbidden);
    }
    let db = act.app.db.read();
    let span = asked::checked(act, asked.window_days, asked.span).await?;
    Ok(match asked.chart.as_str() {
        "rates" | "money" => {
            let (dimension, by) = dimension(asked.by.as_deref(), role)?;
            let rates = rates::rates(db, dimension, span, GROUPS_MAX).await?;
            Some(if asked.chart == "rates" {
                off_thread(DRAWING, move || of_rates(&rates, by)).await?
            } else {
                let currency = shop::settings(db).await?.row.currency;
                let rest = Rest::of(db, dimension, &span).await?;
                off_thread(DRAWING, move || {
                    of_money_with_rest(&rates, (by, currency.as_str()), rest)
                })
                .await?
            })
        }
        "months" => {
            let months = months::months(db, span).await?;
            Some(off_thread(DRAWING, move || of_months(&months)).await?)
        }
        "machines" => {
            let mut models = Vec::new();
            for key in each_once(&asked.models)? {
                let found = machines::machines(db, key, span.today).await?;
                models.push(found.ok_or_else(no_such_model)?);
            }
            Some(off_thread(DRAWING, move || of_machines(&models, span.today)).await?)
        }
        _ => None,
    })
}

/// The keys in their order, one that stands twice once.
fn each_once(keys: &[String]) -> Result<Vec<&String>> {
    let mut once: Vec<&String> = Vec::new();
    for key in keys {
        if !once.contains(&key) {
            once.push(key);
        }
    }
    if once.is_empty() || once.len() > MODELS_MAX {
        let message = format!("Name one to {MODELS_MAX} models by their keys.");
        return Err(Error::refused(ProblemCode::OutOfRange, "models", message));
    }
    Ok(once)
}

fn no_such_model() -> Error {
    let message =
        "No machine of such a model was repaired here. Use a key of `repairRates` by MODEL.";
    Error::refused(ProblemCode::NotFound, "models", message)
}

/// The dimension a picture is asked for by, and how its subtitle begins.
fn dimension(by: Option<&str>, role: Role) -> Result<(Dimension, &'static str)> {
    let known = match by {
        Some("TECHNICIAN") if role == Role::Owner => (Dimension::Technician, "By technician"),
        Some("TECHNICIAN_METHOD") if role == Role::Owner => {
            (Dimension::TechnicianMethod, "By technician and method")
        }
        Some("TECHNICIAN" | "TECHNICIAN_METHOD") => return Err(Error::Forbidden),
        Some("COMPONENT") => (Dimension::Component, "By component"),
        Some("FAILURE_MODE") => (Dimension::FailureMode, "By failure"),
        Some("APPLIANCE_TYPE") => (Dimension::ApplianceType, "By type of machine"),
        Some("MODEL") => (Dimension::Model, "By make and model"),
        Some("PART") => (Dimension::Part, "By part"),
        Some("LOT") => (Dimension::Lot, "By batch"),
        Some("METHOD") => (Dimension::Method, "By method"),
        Some("SUPPLIER") => (Dimension::Supplier, "By supplier"),
        _ => {
            let message = "Say by what: TECHNICIAN, TECHNICIAN_METHOD, COMPONENT, FAILURE_MODE, APPLIANCE_TYPE, MODEL, PART, \
                           LOT, METHOD or SUPPLIER.";
            return Err(Error::refused(ProblemCode::Malformed, "by", message));
        }
    };
    Ok(known)
}

#[cfg(test)]
mod tests;
