//! The shop's months in the graph.

use async_graphql::{Context, Object, SimpleObject};
use chrono::NaiveDate;

use crate::graphql::context::reader;
use crate::graphql::error::edge;
use crate::graphql::scalars::Money;

use super::super::money::{self, MonthLost};
use super::super::months::{Month, Months, months};
use super::{RepairCounts, ReturnRate, percent, watch};

/// The repairs completed in one month.
#[derive(SimpleObject)]
pub struct RepairMonth {
    /// Its first day.
    first_on: NaiveDate,
    /// How many repairs it rests on.
    counts: RepairCounts,
    /// The share that came back; of a month whose windows still run, as far as is known.
    rate: Option<ReturnRate>,
    /// Whether it lies whole in the span and the windows of all its repairs are over; only then it is held against the mean.
    is_over: bool,
    /// Three standard deviations below the mean, in percent, for drawing.
    line_low: Option<f64>,
    /// Three standard deviations above the mean, in percent, for drawing. The alarm does not go by it.
    line_high: Option<f64>,
    /// The exact chance of so many returns or more in a month like the mean.
    chance: Option<f64>,
    /// Whether that is so rare (0.135 % or less) that something changed.
    alarm: bool,
}

impl From<Month> for RepairMonth {
    fn from(month: Month) -> Self {
        let point = month.point;
        Self {
            first_on: month.first_on,
            counts: month.counts.into(),
            rate: month.rate.map(Into::into),
            is_over: month.is_over,
            line_low: point.map(|point| percent(point.line_low)),
            line_high: point.map(|point| percent(point.line_high)),
            chance: point.map(|point| point.chance),
            alarm: point.is_some_and(|point| point.alarm),
        }
    }
}

/// The shop's months on a control chart.
#[derive(SimpleObject)]
pub struct RepairMonths {
    /// The day as of which is counted.
    as_of: NaiveDate,
    /// Days within which a return counts.
    window_days: u32,
    /// The mean over months whose windows are over, in percent; null while they are fewer than twelve.
    mean: Option<f64>,
    /// The months, oldest first; those without repairs are left out.
    months: Vec<RepairMonth>,
}

impl From<Months> for RepairMonths {
    fn from(months: Months) -> Self {
        Self {
            as_of: months.watch.today,
            window_days: months.watch.window_days,
            mean: months.mean.map(percent),
            months: months.months.into_iter().map(Into::into).collect(),
        }
    }
}

/// What repairs that came back cost the shop in a month.
#[derive(SimpleObject)]
pub struct RepeatMoney {
    /// First day of the month in which it was borne.
    month: NaiveDate,
    /// Calls by which a repair came back for another reason than a component repaired before. A call counts once, in the
    /// first month of the span in which something of it was borne.
    other_calls: i64,
    /// What the shop bore in the month of such calls, at cost, with what was corrected of earlier months.
    other_lost: Money,
    /// Calls by which a component that was repaired before came back, each once in the same way.
    same_component_calls: i64,
    /// What the shop bore in the month of such calls, at cost, with what was corrected of earlier months.
    same_component_lost: Money,
}

impl From<MonthLost> for RepeatMoney {
    fn from(month: MonthLost) -> Self {
        Self {
            month: month.month,
            other_calls: month.other.calls,
            other_lost: month.other.lost.into(),
            same_component_calls: month.same_component.calls,
            same_component_lost: month.same_component.lost.into(),
        }
    }
}

/// Rates over time.
#[derive(Default)]
pub struct MonthsQuery;

#[Object]
impl MonthsQuery {
    /// The share of repairs that came back, month by month of their completion; those completed today are left out.
    #[graphql(complexity = "200 + child_complexity")]
    async fn repair_months(
        &self,
        ctx: &Context<'_>,
        #[graphql(
            desc = "Days within which a return counts, 1 to 730; the shop's callback window when left out."
        )]
        window_days: Option<i32>,
        #[graphql(
            desc = "A day of the first month, which is counted whole; two years back when left out, ten at most."
        )]
        from: Option<NaiveDate>,
        #[graphql(desc = "Last day of completion; today when left out.")] through: Option<
            NaiveDate,
        >,
    ) -> async_graphql::Result<RepairMonths> {
        let watch = watch(ctx, window_days, (from, through)).await?;
        let months = months(reader(ctx)?, watch).await;
        Ok(months.map_err(edge)?.into())
    }

    /// What repairs that came back within the window cost the shop, by the month in which it was borne. As in the books, what was
    /// borne today is among it, also of a repair completed today, which `repairRates` leaves out until tomorrow.
    #[graphql(complexity = "20 + child_complexity")]
    async fn repeat_money(
        &self,
        ctx: &Context<'_>,
        #[graphql(
            desc = "Days within which a return counts, 1 to 730; the shop's callback window when left out."
        )]
        window_days: Option<i32>,
        #[graphql(desc = "First day; two years back when left out, ten at most.")] from: Option<
            NaiveDate,
        >,
        #[graphql(desc = "Last day; today when left out.")] through: Option<NaiveDate>,
    ) -> async_graphql::Result<Vec<RepeatMoney>> {
        let watch = watch(ctx, window_days, (from, through)).await?;
        let months = money::by_month(reader(ctx)?, &watch).await;
        Ok(months.map_err(edge)?.into_iter().map(Into::into).collect())
    }
}
