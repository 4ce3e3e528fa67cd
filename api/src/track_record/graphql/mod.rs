//! Rates of return in the graph.

pub mod groups;
pub mod machines;
pub mod months;

pub use groups::RatesQuery;
pub use machines::MachinesQuery;
pub use months::MonthsQuery;

use async_graphql::{Context, SimpleObject};
use chrono::NaiveDate;
use nameplate_rules::rates::Interval;
use nameplate_rules::rates::survival::{CallbackRate, Counts};

use crate::graphql::context::act;
use crate::graphql::error::edge;

use crate::callbacks::outcomes::Watch;

/// The span, window and day of a question, checked.
async fn watch(
    ctx: &Context<'_>,
    window_days: Option<i32>,
    span: (Option<NaiveDate>, Option<NaiveDate>),
) -> async_graphql::Result<Watch> {
    super::checked(act(ctx)?, window_days, span)
        .await
        .map_err(edge)
}

/// How many repairs a figure rests on.
#[derive(SimpleObject)]
pub struct RepairCounts {
    /// Repairs completed before today.
    repairs: u64,
    /// Those that came back within the window.
    returned: u64,
    /// Those that did not come back and whose window still runs; they are neither successes nor left out.
    open: u64,
    /// Those whose window is over.
    followed: u64,
    /// Of those whose window is over, how many came back.
    followed_returned: u64,
}

impl From<Counts> for RepairCounts {
    fn from(counts: Counts) -> Self {
        Self {
            repairs: counts.repairs,
            returned: counts.returned,
            open: counts.open,
            followed: counts.followed.repairs,
            followed_returned: counts.followed.returned,
        }
    }
}

/// The share of repairs that came back, with recent ones neither counted as good nor left out (Kaplan-Meier).
#[derive(SimpleObject)]
pub struct ReturnRate {
    /// Days after completion for which it is told: the window, or less where nobody was followed that long.
    at_days: u32,
    /// In percent.
    percent: f64,
    /// Lower limit of the 95 % interval in percent (Wilson, at the effective number of repairs); null where it cannot be told.
    low: Option<f64>,
    /// Upper limit in percent.
    high: Option<f64>,
}

impl From<CallbackRate> for ReturnRate {
    fn from(rate: CallbackRate) -> Self {
        Self {
            at_days: rate.at_days,
            percent: percent(rate.value),
            low: rate.shown.map(|limits| percent(limits.low)),
            high: rate.shown.map(|limits| percent(limits.high)),
        }
    }
}

/// A share as percent.
fn percent(share: f64) -> f64 {
    share * 100.0
}

/// Something estimated with two limits.
#[derive(SimpleObject)]
pub struct Estimated {
    /// The estimate.
    value: f64,
    /// Its lower limit.
    low: f64,
    /// Its upper limit.
    high: f64,
}

impl Estimated {
    fn of(value: f64, limits: Interval) -> Self {
        Self {
            value,
            low: limits.low,
            high: limits.high,
        }
    }
}
