//! The machines of a model in the graph.

use async_graphql::{Context, Enum, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_rules::rates::trend::Trend;
use nameplate_rules::rates::visits::Step;

use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::shop;

use super::super::machines::{Machines, OfComponent, Pooled, machines};

/// Whether failures come faster or slower with age.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::rates::trend::Trend")]
pub enum FailureTrend {
    /// Too few failures, or no clear trend.
    NoClearTrend,
    /// Failures come at ever longer distances.
    Improving,
    /// Failures come at ever shorter distances.
    Worsening,
}

/// The mean number of further repairs a machine at one age.
#[derive(SimpleObject)]
pub struct RepairStep {
    /// Days since the machine's first repair here.
    age_days: u32,
    /// Machines still watched at that age.
    machines: u64,
    /// Further repairs a machine through that age.
    mean: f64,
    /// Lower 95 % limit (robust variance by machine); null where it cannot be told.
    low: Option<f64>,
    /// Upper 95 % limit.
    high: Option<f64>,
    /// Whether it rests on so few machines that it says little.
    few: bool,
}

impl From<Step> for RepairStep {
    fn from(step: Step) -> Self {
        Self {
            age_days: step.age_days,
            machines: step.units,
            mean: step.mean,
            low: step.limits.map(|limits| limits.low),
            high: step.limits.map(|limits| limits.high),
            few: step.few,
        }
    }
}

/// The trend of failures over all machines together (MIL-HDBK-189).
#[derive(SimpleObject)]
pub struct TrendFigures {
    /// Further failures it rests on.
    failures: usize,
    /// What can be said.
    trend: FailureTrend,
    /// The chance of as clear a trend either way by luck alone; null without failures, and where all of them came on the last
    /// day watched.
    chance: Option<f64>,
}

impl From<Pooled> for TrendFigures {
    fn from(pooled: Pooled) -> Self {
        Self {
            failures: pooled.failures,
            trend: Trend::into(pooled.trend),
            chance: pooled.test.map(|test| test.two_sided),
        }
    }
}

/// One component of a model.
#[derive(SimpleObject)]
pub struct ComponentTrend {
    /// The component, with the type of machine.
    label: String,
    /// Its further failures on each machine since it was first repaired there.
    trend: TrendFigures,
}

impl From<OfComponent> for ComponentTrend {
    fn from(row: OfComponent) -> Self {
        Self {
            label: row.label,
            trend: row.pooled.into(),
        }
    }
}

/// How often the machines of a model needed another repair, from the first repair of each here on.
#[derive(SimpleObject)]
pub struct ModelRecord {
    /// The day as of which is counted.
    as_of: NaiveDate,
    /// Names the model, as in `repairRates`.
    key: String,
    /// Make and model.
    label: String,
    /// Machines repaired at least once.
    machines: usize,
    /// Repairs after the first of each machine.
    further_repairs: usize,
    /// Whether there were more repairs than are looked at.
    cut: bool,
    /// The mean number of further repairs a machine by age (mean cumulative function); of more than 500 ages the last of each
    /// few in turn.
    steps: Vec<RepairStep>,
    /// The trend of all further repairs.
    trend: TrendFigures,
    /// The trend component by component, of those that failed again.
    components: Vec<ComponentTrend>,
}

impl From<Machines> for ModelRecord {
    fn from(record: Machines) -> Self {
        Self {
            as_of: record.today,
            key: record.key,
            label: record.label,
            machines: record.machines,
            further_repairs: record.further_repairs,
            cut: record.cut,
            steps: record.steps.into_iter().map(Into::into).collect(),
            trend: record.trend.into(),
            components: record.components.into_iter().map(Into::into).collect(),
        }
    }
}

/// Machines over their life.
#[derive(Default)]
pub struct MachinesQuery;

#[Object]
impl MachinesQuery {
    /// The machines of one model; null for a model without repairs.
    #[graphql(complexity = "200 + child_complexity")]
    async fn model_record(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The key of the model in `repairRates` by model.")] key: String,
    ) -> async_graphql::Result<Option<ModelRecord>> {
        let act = act(ctx)?;
        let settings = shop::settings(reader(ctx)?).await.map_err(edge)?;
        let record = machines(reader(ctx)?, &key, settings.day_of(act.at)).await;
        Ok(record.map_err(edge)?.map(Into::into))
    }
}
