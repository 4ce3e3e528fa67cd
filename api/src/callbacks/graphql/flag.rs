//! A flag, what it rests on and what became of it.

use std::collections::BTreeSet;

use async_graphql::{ComplexObject, Context, Enum, ID, SimpleObject};
use chrono::{DateTime, Utc};
use futures_util::future::try_join_all;
use nameplate_entities::kinds::Pattern;
use nameplate_entities::{
    appliance, component, failure_mode, finding, flag, flag_evidence, flag_step, reading,
    service_call,
};
use nameplate_rules::flags;
use nameplate_rules::rates::repeat::{Others, surprise, years};
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use sea_orm::{ColumnTrait, QueryFilter};

use crate::appliances::graphql::{Appliance, Component, FailureMode};
use crate::base::Error;
use crate::calls::graphql::ServiceCall;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::ExactDecimal;
use crate::shop::graphql::Staff;

use super::super::joint::{Failed, OfJoint, examine_joint};
use super::super::store;
use super::evidence::FlagEvidence;
use super::joint::Bearings;

/// Most calls on a machine that are looked through for readings of a joint.
const CALLS_MAX: usize = 20;

/// How loud a repeat failure is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::FlagLevel")]
pub enum FlagLevel {
    /// The second time in two years: keep an eye on it.
    Watch,
    /// Too soon, too often or dangerous: the call closes only with a root cause.
    Act,
}

/// The life of a flag; it is never deleted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::FlagState")]
pub enum FlagState {
    /// Raised, or opened again; nobody looked at it yet.
    Open,
    /// Somebody has seen it.
    Acknowledged,
    /// Somebody said what was done about it.
    Answered,
    /// Dealt with, until the same failure is back.
    Closed,
}

/// The same component failed the same way again on the same machine. When it does so once more, this flag is opened again.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Flag {
    /// How loud it is.
    level: FlagLevel,
    /// How far it was dealt with.
    state: FlagState,
    /// What came back, when it was repaired before, and which rule was met.
    reason: String,
    /// When it was raised, or last opened again or grew more severe.
    raised_at: DateTime<Utc>,
    /// How often such repairs come back on the shop's other machines, as of the last finding that raised it or made it grow; of a pattern,
    /// comparable repairs of others. Null for what machines share at an address, which is held against nothing.
    base_rate: Option<BaseRate>,
    /// What several machines have in common; null for a flag about one machine.
    pattern: Option<FlagPattern>,
    #[graphql(skip)]
    row: flag::Model,
}

impl From<flag::Model> for Flag {
    fn from(row: flag::Model) -> Self {
        Self {
            level: row.level.into(),
            state: row.state.into(),
            reason: row.reason.clone(),
            raised_at: row.raised_at,
            base_rate: BaseRate::of(&row),
            pattern: FlagPattern::of(&row),
            row,
        }
    }
}

impl Flag {
    /// The flag with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = store::flags_visible_to(act(ctx)?)
            .filter(flag::Column::Id.eq(id))
            .one(reader(ctx)?)
            .await
            .map_err(|error| edge(error.into()))?;
        Ok(row.map(Self::from))
    }

    /// The flags ever raised on a machine, oldest first.
    pub async fn of_appliance(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Vec<Self>> {
        let rows = loaders::children::<flag::Entity>(ctx, flag::Column::ApplianceId, id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }

    /// The flags that are at a call, or rest on it: the failure came back on a later call. Of those about several machines a
    /// technician sees the ones that are at a machine of own calls.
    pub async fn of_call(ctx: &Context<'_>, call_id: i64) -> async_graphql::Result<Vec<Self>> {
        let mut rows =
            loaders::children::<flag::Entity>(ctx, flag::Column::CallId, call_id).await?;
        let column = flag_evidence::Column::CallId;
        let rests = loaders::children::<flag_evidence::Entity>(ctx, column, call_id).await?;
        let resting = rests
            .iter()
            .map(|rest| loaders::row::<flag::Entity>(ctx, rest.flag_id));
        rows.extend(try_join_all(resting).await?.into_iter().flatten());
        rows.sort_by_key(|row| row.id);
        rows.dedup_by_key(|row| row.id);
        let seen = rows
            .iter()
            .map(|row| loaders::is_seen(ctx, loaders::HeldIn::Appliance, row.appliance_id));
        let seen = try_join_all(seen).await?;
        let rows = rows.into_iter().zip(seen);
        Ok(rows
            .filter_map(|(row, seen)| seen.then(|| Self::from(row)))
            .collect())
    }
}

#[ComplexObject]
impl Flag {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Flag.id(self.row.id)
    }

    /// The call on which it was found last; null for a technician without part in it.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        ServiceCall::seen(ctx, self.row.call_id).await
    }

    /// The machine.
    async fn appliance(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Appliance>> {
        Appliance::of(ctx, self.row.appliance_id).await
    }

    /// What failed.
    async fn component(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Component>> {
        Component::of(ctx, self.row.component_id).await
    }

    /// How it failed.
    async fn failure_mode(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<FailureMode>> {
        FailureMode::of(ctx, self.row.failure_mode_id).await
    }

    /// What to look at next time, in order.
    async fn next_checks(&self) -> async_graphql::Result<Vec<String>> {
        texts(&self.row.next_checks_json)
    }

    /// What to mind before touching it.
    async fn cautions(&self) -> async_graphql::Result<Vec<String>> {
        texts(&self.row.cautions_json)
    }

    /// What may have burnt the joint, by what was measured on calls on which it was found; null where no joint was hot, and
    /// for a flag about several machines.
    async fn bearings(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Bearings>> {
        let flag = &self.row;
        if flag.pattern.is_some() {
            return Ok(None);
        }
        let Some(failed) = Names::of(ctx, (flag.component_id, flag.failure_mode_id)).await? else {
            return Ok(None);
        };
        if !failed.failed().is_hot_joint() {
            return Ok(None);
        }
        let Some(machine) = loaders::row::<appliance::Entity>(ctx, flag.appliance_id).await? else {
            return Ok(None);
        };
        let found_on = found_on(ctx, flag).await?;
        let readings = readings_of(ctx, &found_on).await?;
        let found =
            loaders::children::<finding::Entity>(ctx, finding::Column::CallId, flag.call_id)
                .await?;
        let found = found
            .iter()
            .map(|row| Names::of(ctx, (row.component_id, row.failure_mode_id)));
        let found: Vec<Names> = try_join_all(found).await?.into_iter().flatten().collect();
        let found: Vec<Failed<'_>> = found.iter().map(Names::failed).collect();
        let of_joint = OfJoint {
            machine: &machine,
            call_id: flag.call_id,
            found_on: &found_on,
        };
        let examined = examine_joint(of_joint, &found, &readings);
        Ok(Some(Bearings::of(examined, flag.call_id)))
    }

    /// The calls it rests on, oldest first.
    async fn evidence(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<FlagEvidence>> {
        let column = flag_evidence::Column::FlagId;
        let rows = loaders::children::<flag_evidence::Entity>(ctx, column, self.row.id).await?;
        let own = loaders::row::<service_call::Entity>(ctx, self.row.call_id).await?;
        let own = own.ok_or_else(|| edge(Error::internal("a flag is at no call")))?;
        let rows = rows
            .into_iter()
            .map(|row| FlagEvidence::of(ctx, row, (self.row.pattern, own.opened_on)));
        Ok(FlagEvidence::in_order(try_join_all(rows).await?))
    }

    /// Who moved it along, oldest first.
    async fn steps(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<FlagStep>> {
        let column = flag_step::Column::FlagId;
        let rows = loaders::children::<flag_step::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(FlagStep::from).collect())
    }
}

/// What machines with the same failure have in common.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::Pattern")]
pub enum FlagPatternKind {
    /// Make and model.
    Model,
    /// The part that was fitted.
    Part,
    /// The batch of the part that was fitted.
    Lot,
    /// How they were repaired.
    Method,
    /// Where they stand: their wiring and supply.
    Address,
}

/// What several machines have in common, and how much more often they return than comparable work.
#[derive(SimpleObject)]
pub struct FlagPattern {
    /// What kind of thing they share.
    kind: FlagPatternKind,
    /// What it was called on the day the flag was raised.
    label: String,
    /// Returns within the callback window over two years; of an address the machines with heat or arc failures.
    observed: i64,
    /// Returns that comparable work of the others would give; null for an address.
    expected: Option<ExactDecimal>,
    /// Very likely at least so many times as many as expected (lower 95 % limit), with two returns added to both so that
    /// chance is allowed for; null for an address.
    at_least_times: Option<ExactDecimal>,
}

impl FlagPattern {
    /// The pattern a flag keeps.
    pub fn of(row: &flag::Model) -> Option<Self> {
        Some(Self {
            kind: row.pattern?.into(),
            label: row.pattern_label.clone()?,
            observed: row.observed?,
            expected: row.expected.map(Into::into),
            at_least_times: row.ratio_low.map(Into::into),
        })
    }
}

/// What failed, as it is named.
struct Names {
    component: component::Model,
    mode: failure_mode::Model,
}

impl Names {
    async fn of(
        ctx: &Context<'_>,
        (component_id, failure_mode_id): (i64, i64),
    ) -> async_graphql::Result<Option<Self>> {
        let component = loaders::row::<component::Entity>(ctx, component_id).await?;
        let mode = loaders::row::<failure_mode::Entity>(ctx, failure_mode_id).await?;
        let both = component.zip(mode);
        Ok(both.map(|(component, mode)| Self { component, mode }))
    }

    fn failed(&self) -> Failed<'_> {
        Failed {
            component: &self.component.name,
            mode: &self.mode.key,
            hazard: self.mode.hazard,
        }
    }
}

/// The last calls on a machine on which the component of its flag was found.
async fn found_on(ctx: &Context<'_>, flag: &flag::Model) -> async_graphql::Result<Vec<i64>> {
    let column = service_call::Column::ApplianceId;
    let calls = loaders::children::<service_call::Entity>(ctx, column, flag.appliance_id).await?;
    let last = calls.iter().rev().take(CALLS_MAX);
    let found = last
        .map(|call| loaders::children::<finding::Entity>(ctx, finding::Column::CallId, call.id));
    let found = try_join_all(found).await?.concat();
    let of_component = found
        .iter()
        .filter(|row| row.component_id == flag.component_id);
    let mut calls: BTreeSet<i64> = of_component.map(|row| row.call_id).collect();
    // Its own call counts however many were taken since.
    calls.insert(flag.call_id);
    Ok(calls.into_iter().collect())
}

/// Readings of these calls, oldest first.
async fn readings_of(
    ctx: &Context<'_>,
    call_ids: &[i64],
) -> async_graphql::Result<Vec<reading::Model>> {
    let readings = call_ids
        .iter()
        .map(|id| loaders::children::<reading::Entity>(ctx, reading::Column::CallId, *id));
    let mut readings = try_join_all(readings).await?.concat();
    readings.sort_by_key(|row| row.id);
    Ok(readings)
}

/// The texts a flag keeps, as they were on the day it was raised.
pub fn texts(json: &str) -> async_graphql::Result<Vec<String>> {
    serde_json::from_str(json).map_err(|error| edge(Error::caused("texts of a flag", error)))
}

/// How often a kind of repair comes back, over all machines but those flagged.
#[derive(SimpleObject)]
pub struct BaseRate {
    /// The rate in words, with a mark when there are too few repairs to judge.
    sentence: String,
    /// Such repairs on other machines; of a pattern, comparable repairs of others.
    repairs: i64,
    /// How many of these followed an earlier one on the same machine; of a pattern, how many came back.
    returned: i64,
    /// How rare it is by that rate; null for a pattern, and for a flag that was raised before this was kept.
    surprise: Option<Surprise>,
}

impl BaseRate {
    /// The rate that a flag keeps; none for an address, where no repairs are compared.
    pub fn of(row: &flag::Model) -> Option<Self> {
        let whole = |count: i64| u32::try_from(count).unwrap_or(u32::MAX);
        let rate = flags::BaseRate::new(whole(row.base_repairs), whole(row.base_returned));
        let in_words = match row.pattern {
            Some(Pattern::Address) => return None,
            Some(Pattern::Model | Pattern::Part | Pattern::Lot | Pattern::Method) => {
                flags::BaseRate::sentence_of_others
            }
            None => flags::BaseRate::sentence,
        };
        Some(Self {
            sentence: rate.map_or_else(|_| String::new(), in_words),
            repairs: row.base_repairs,
            returned: row.base_returned,
            surprise: Surprise::of(row),
        })
    }
}

/// How rare it is that a failure comes back so often on one machine. The rule raised the flag; this only measures it.
#[derive(SimpleObject)]
pub struct Surprise {
    /// The chance in words, with how many of the shop's machines are expected to show as much by bad luck. The figures below
    /// are null while no other machine was watched after such a repair.
    sentence: String,
    /// How often it has come back on this machine.
    times: i64,
    /// How often it would have by the rate of the other machines. Three significant digits.
    expected_times: Option<ExactDecimal>,
    /// The chance of so often or more, given how little or much the shop has on record. Three significant digits.
    chance: Option<ExactDecimal>,
    /// Other machines with such a repair that are expected to show as much by bad luck alone. Three significant digits.
    expected_machines: Option<ExactDecimal>,
}

impl Surprise {
    /// What a flag keeps of it; none for a pattern, and for a flag raised before it was kept.
    fn of(row: &flag::Model) -> Option<Self> {
        let whole = |count: i64| u64::try_from(count).unwrap_or(0);
        let machines = whole(row.base_repairs - row.base_returned);
        let others = Others {
            recurrences: whole(row.base_returned),
            years: years(row.watched_days?),
            machines,
        };
        let times = row.again?;
        let found = surprise(whole(times), years(row.own_days?), others);
        let digits = |value: f64| {
            Some(ExactDecimal(
                Decimal::from_f64(value)?.round_sf(3)?.normalize(),
            ))
        };
        Some(Self {
            sentence: found.map_or_else(
                || "No other machine was watched after such a repair.".to_owned(),
                |found| found.sentence(whole(times), machines),
            ),
            times,
            expected_times: found.and_then(|found| digits(found.expected)),
            chance: found.and_then(|found| digits(found.chance)),
            expected_machines: found.and_then(|found| digits(found.expected_machines)),
        })
    }
}

/// One step in the life of a flag.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct FlagStep {
    /// When.
    at: DateTime<Utc>,
    /// Where the flag stood from then on.
    state: FlagState,
    /// What was noted.
    note: String,
    #[graphql(skip)]
    row: flag_step::Model,
}

impl From<flag_step::Model> for FlagStep {
    fn from(row: flag_step::Model) -> Self {
        Self {
            at: row.at,
            state: row.state.into(),
            note: row.note.clone(),
            row,
        }
    }
}

#[ComplexObject]
impl FlagStep {
    /// Who.
    async fn by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.staff_id).await
    }
}
