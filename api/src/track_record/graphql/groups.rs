//! Rates by group, and the repairs behind them.

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, Enum, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::kinds::Dimension;
use nameplate_entities::repair_outcome;
use nameplate_rules::money::Cents;
use nameplate_rules::rates::judge;

use crate::base::{Error, Role};
use crate::calls::graphql::ServiceCall;
use crate::closeout::graphql::CallbackCost;
use crate::graphql::connection::{self, DayCursor, Page};
use crate::graphql::context::{act, reader};
use crate::graphql::error::{bad_input, edge};
use crate::graphql::scalars::Money;
use crate::shop::graphql::Staff;

use super::super::rates::{Group, Rates, rates};
use super::super::store::drill;
use super::{Estimated, RepairCounts, ReturnRate, percent, watch};

/// Most groups in one answer.
const GROUPS_MAX: i32 = 200;

/// By what repairs are grouped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum RateDimension {
    /// Who did most of the repair. For the owner only.
    Technician,
    /// Who did it, and by which method. For the owner only.
    TechnicianMethod,
    /// The component that was repaired, by type of machine.
    Component,
    /// How it had failed.
    FailureMode,
    /// The type of machine.
    ApplianceType,
    /// Make and model.
    Model,
    /// The part that was fitted.
    Part,
    /// The batch of the part that was fitted.
    Lot,
    /// How it was repaired.
    Method,
    /// Who the part was had from, as the catalogue said then.
    Supplier,
}

impl RateDimension {
    /// As it is kept; rates of people are the owner's to see.
    pub fn seen_by(self, role: Role) -> Result<Dimension, Error> {
        let dimension = match self {
            Self::Technician => Dimension::Technician,
            Self::TechnicianMethod => Dimension::TechnicianMethod,
            Self::Component => Dimension::Component,
            Self::FailureMode => Dimension::FailureMode,
            Self::ApplianceType => Dimension::ApplianceType,
            Self::Model => Dimension::Model,
            Self::Part => Dimension::Part,
            Self::Lot => Dimension::Lot,
            Self::Method => Dimension::Method,
            Self::Supplier => Dimension::Supplier,
        };
        let of_people = matches!(self, Self::Technician | Self::TechnicianMethod);
        if of_people && role != Role::Owner {
            return Err(Error::Forbidden);
        }
        Ok(dimension)
    }
}

/// What can be said of a group against what is expected of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum RateVerdict {
    /// Fewer than ten repairs: nothing can be said. A flag may warn earlier, by a rule of its own.
    TooFew,
    /// No more and no fewer come back than expected, or it cannot be told.
    AsExpected,
    /// More come back than chance explains, with the number of groups looked at accounted for.
    Worse,
    /// Fewer come back than chance explains, with the number of groups looked at accounted for.
    Better,
}

impl From<judge::Verdict> for RateVerdict {
    fn from(verdict: judge::Verdict) -> Self {
        match verdict {
            judge::Verdict::TooFew => Self::TooFew,
            judge::Verdict::AsExpected => Self::AsExpected,
            judge::Verdict::Worse => Self::Worse,
            judge::Verdict::Better => Self::Better,
        }
    }
}

/// What came back of a group's repairs, and what that compares with.
#[derive(SimpleObject)]
pub struct RateGroup {
    /// Names the group in `ratedRepairs`; not meant to be read.
    key: String,
    /// What it is called.
    label: String,
    /// How many repairs it rests on.
    counts: RepairCounts,
    /// Of those that came back, how many for a component that was repaired then.
    same_component: u64,
    /// The share that came back; null without a repair older than a day.
    rate: Option<ReturnRate>,
    /// Returns that the same kinds of work would give by the shop's own record, followed as long; of a component or a type
    /// of machine, returns that as many repairs of any kind would give.
    expected: f64,
    /// Returned by expected, with exact 95 % limits; null where nothing is expected.
    ratio: Option<Estimated>,
    /// The same against the record of the rest of the shop alone.
    ratio_to_rest: Option<Estimated>,
    /// Its rate in percent drawn toward the shop's, the more the fewer its repairs; for forecasts, not for praise or blame.
    /// Null while none of them was watched for the whole window.
    drawn: Option<Estimated>,
    /// The chance of so many returns by luck alone, held to the number of groups looked at (false-discovery rate); null
    /// for a group not judged.
    chance_of_more: Option<f64>,
    /// What can be said of it.
    verdict: RateVerdict,
    /// What the shop bore of the calls by which these repairs came back, at cost.
    lost: Money,
}

impl From<Group> for RateGroup {
    fn from(group: Group) -> Self {
        let figures = group.figures;
        let estimated = |ratio: nameplate_rules::rates::expected::Ratio| {
            Estimated::of(ratio.value, ratio.limits)
        };
        Self {
            key: group.key,
            label: group.label,
            counts: figures.counts.into(),
            same_component: group.same_component,
            rate: figures.rate.map(Into::into),
            expected: figures.compared.expected,
            ratio: figures.ratio.map(estimated),
            ratio_to_rest: figures.ratio_to_rest.map(estimated),
            drawn: figures.shrunk.and_then(|drawn| {
                let limits = drawn.limits?;
                Some(Estimated {
                    value: percent(drawn.value),
                    low: percent(limits.low),
                    high: percent(limits.high),
                })
            }),
            chance_of_more: figures.worse.map(|claim| claim.held),
            verdict: figures.verdict.into(),
            lost: group.lost.into(),
        }
    }
}

/// A table of groups, as of today. Groups with few repairs are not judged, and no group is ranked by its rate.
#[derive(SimpleObject)]
pub struct RepairRates {
    /// The day as of which is counted.
    as_of: NaiveDate,
    /// First day of completion looked at.
    from: NaiveDate,
    /// Last day of completion looked at; repairs completed on `asOf` are not counted yet.
    through: NaiveDate,
    /// Days within which a return counts.
    window_days: u32,
    /// How many repairs of the whole shop it rests on, each once.
    counts: RepairCounts,
    /// Of those that came back, how many for a component that was repaired then.
    same_component: u64,
    /// The share of the shop's repairs that came back.
    rate: Option<ReturnRate>,
    /// What the shop bore of the calls by which repairs came back, at cost.
    lost: Money,
    /// The groups, what costs most first.
    groups: Vec<RateGroup>,
    /// How many groups there are, those not shown included.
    group_count: usize,
}

impl From<Rates> for RepairRates {
    fn from(rates: Rates) -> Self {
        Self {
            as_of: rates.watch.today,
            from: rates.watch.from,
            through: rates.watch.through,
            window_days: rates.watch.window_days,
            counts: rates.shop.counts.into(),
            same_component: rates.shop.same_component,
            rate: rates.shop.rate.map(Into::into),
            lost: rates.shop.lost.into(),
            groups: rates.groups.into_iter().map(Into::into).collect(),
            group_count: rates.groups_in_all,
        }
    }
}

/// A technician's own record, beside that of the shop and what the same work would give. It names nobody else.
#[derive(SimpleObject)]
pub struct OwnRecord {
    /// The day as of which is counted.
    as_of: NaiveDate,
    /// Days within which a return counts.
    window_days: u32,
    /// How many own repairs it rests on.
    counts: RepairCounts,
    /// The share of own repairs that came back.
    rate: Option<ReturnRate>,
    /// Returns that this mix of work would give by the shop's record.
    expected: f64,
    /// The share of the whole shop.
    shop_rate: Option<ReturnRate>,
}

/// A completed repair, and whether it came back.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct RatedRepair {
    /// The day it was completed.
    completed_on: NaiveDate,
    /// Days from then to the call by which it came back; null while it did not. May be later than the window.
    return_age_days: Option<i32>,
    /// Whether what was found then is a component that was repaired here.
    same_component: bool,
    #[graphql(skip)]
    row: repair_outcome::Model,
}

impl From<repair_outcome::Model> for RatedRepair {
    fn from(row: repair_outcome::Model) -> Self {
        Self {
            completed_on: row.completed_on,
            return_age_days: row.return_age_days,
            same_component: row.same_component,
            row,
        }
    }
}

#[ComplexObject]
impl RatedRepair {
    /// The repair.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        ServiceCall::seen(ctx, self.row.call_id).await
    }

    /// The call by which it came back.
    async fn return_call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        match self.row.return_call_id {
            Some(id) => ServiceCall::seen(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Who did most of the repair. For the owner only; null for others.
    async fn technician(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        let (_, role) = act(ctx)?.staff().map_err(edge)?;
        match role {
            Role::Owner => Staff::of(ctx, self.row.technician_id).await,
            Role::Office | Role::Technician => Ok(None),
        }
    }

    /// What the shop bore of the call by which it came back, at cost, less parts of it that were taken back.
    async fn lost(&self, ctx: &Context<'_>) -> async_graphql::Result<Money> {
        match self.row.return_call_id {
            Some(id) => Ok(CallbackCost::of_call(ctx, id).await?.total),
            None => Ok(Cents::ZERO.into()),
        }
    }
}

/// Rates of return.
#[derive(Default)]
pub struct RatesQuery;

#[Object]
impl RatesQuery {
    /// How often repairs came back, group by group. The office decides on calls within the shop's own callback window only: later
    /// ones count in longer windows unless their findings say that they have nothing to do with the repair. Repairs completed today
    /// are in no figure, nor is what they cost: nobody watched them for a day.
    #[graphql(complexity = "200 + child_complexity")]
    async fn repair_rates(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "By what repairs are grouped.")] by: RateDimension,
        #[graphql(
            desc = "Days within which a return counts, 1 to 730; the shop's callback window when left out."
        )]
        window_days: Option<i32>,
        #[graphql(desc = "First day of completion; two years back when left out, ten at most.")]
        from: Option<NaiveDate>,
        #[graphql(desc = "Last day of completion; today when left out.")] through: Option<
            NaiveDate,
        >,
        #[graphql(desc = "At most this many groups, 1 to 200.", default = 50)] first: i32,
    ) -> async_graphql::Result<RepairRates> {
        let (_, role) = act(ctx)?.staff().map_err(edge)?;
        let dimension = by.seen_by(role).map_err(edge)?;
        let watch = watch(ctx, window_days, (from, through)).await?;
        if !(1..=GROUPS_MAX).contains(&first) {
            let message = format!("Ask for 1 to {GROUPS_MAX} groups.");
            return Err(bad_input("first", message));
        }
        let most = usize::try_from(first).unwrap_or(1);
        let rates = rates(reader(ctx)?, dimension, watch, most).await;
        Ok(rates.map_err(edge)?.into())
    }

    /// The repairs behind a group of `repairRates`, the earliest first; as there, those completed today are left out.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "the group, the span and the four of a page"
    )]
    async fn rated_repairs(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "By what repairs are grouped.")] by: RateDimension,
        #[graphql(desc = "The key of the group.")] key: String,
        #[graphql(
            desc = "Days within which a return counts, 1 to 730; the shop's callback window when left out."
        )]
        window_days: Option<i32>,
        #[graphql(desc = "First day of completion; two years back when left out.")] from: Option<
            NaiveDate,
        >,
        #[graphql(desc = "Last day of completion; today when left out.")] through: Option<
            NaiveDate,
        >,
        #[graphql(desc = "Only those that came back within the window.", default = false)]
        only_returned: bool,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<DayCursor, RatedRepair>> {
        let (_, role) = act(ctx)?.staff().map_err(edge)?;
        let dimension = by.seen_by(role).map_err(edge)?;
        let watch = watch(ctx, window_days, (from, through)).await?;
        let page = Page {
            first,
            after,
            last,
            before,
        };
        connection::by_day(
            reader(ctx)?,
            drill::repairs((dimension, &key), &watch, only_returned),
            (
                repair_outcome::Column::CompletedOn,
                repair_outcome::Column::Id,
            ),
            page,
            (
                |row| DayCursor {
                    on: row.completed_on,
                    id: row.id,
                },
                RatedRepair::from,
            ),
        )
        .await
    }

    /// The caller's own repairs and what came back of them, over the two years through today; null without one
    /// that was completed before today.
    #[graphql(complexity = "200 + child_complexity")]
    async fn own_record(
        &self,
        ctx: &Context<'_>,
        #[graphql(
            desc = "Days within which a return counts, 1 to 730; the shop's callback window when left out."
        )]
        window_days: Option<i32>,
    ) -> async_graphql::Result<Option<OwnRecord>> {
        let (id, _) = act(ctx)?.staff().map_err(edge)?;
        let watch = watch(ctx, window_days, (None, None)).await?;
        let key = id.to_string();
        let rates = rates(reader(ctx)?, Dimension::Technician, watch, usize::MAX).await;
        let rates = rates.map_err(edge)?;
        let own = rates.groups.into_iter().find(|group| group.key == key);
        Ok(own.map(|own| OwnRecord {
            as_of: watch.today,
            window_days: watch.window_days,
            counts: own.figures.counts.into(),
            rate: own.figures.rate.map(Into::into),
            expected: own.figures.compared.expected,
            shop_rate: rates.shop.rate.map(Into::into),
        }))
    }
}
