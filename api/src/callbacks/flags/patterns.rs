//! Flags about what several machines have in common: a model, a part, a batch, a method, an address.
//!
//! Looked at when something is found: for a call that counts against a repair, the groups of that repair are held against
//! comparable work of the last two years; for a heat or arc failure, the other machines at the address. A pattern has one
//! flag, which is opened again by the next such call.

use std::collections::BTreeSet;

use chrono::Months;
use nameplate_entities::kinds::{self, Dimension, Pattern};
use nameplate_entities::{finding, flag, repair_group, service_call};
use nameplate_rules::callback::NO_FAULT_FOUND;
use nameplate_rules::cautions::Caution;
use nameplate_rules::flags::patterns::{ADDRESS_DAYS, Returns, at_address, sentence};
use nameplate_rules::flags::{ComponentClass, Hazard};
use nameplate_rules::rates::early_warning::{Cell, Level, RatioPrior, Signal};
use nameplate_rules::rates::expected::Record;
use nameplate_rules::rates::survival::Counts;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use sea_orm::{ConnectionTrait, EntityTrait};

use crate::base::{Act, Error, Result};
use crate::shop;

use super::super::advice::{self, Advice};
use super::super::outcomes::{Of, Strata, Watch, Watched, labels, watched};
use super::super::store;
use super::raising::{self, News, Said, Shared};
use super::shared::{self, OnMachine};

/// Fewer returns of a group are no pattern, as the rule of early warning says; they spare the rest of the reading.
const RETURNS_MIN: i64 = 3;
/// How far back repairs are held against each other.
const MONTHS_BACK: u32 = 24;

/// Judges what a finding just recorded says about several machines; gives the flags that were raised, opened again or
/// grew. Outcomes must be worked out before.
///
/// # Errors
/// Internal only.
pub async fn judge(
    tx: &impl ConnectionTrait,
    act: &Act,
    call: &service_call::Model,
    finding: &finding::Model,
) -> Result<Vec<flag::Model>> {
    let names = store::failure_names(tx, finding.component_id, finding.failure_mode_id).await?;
    if names.mode.key == NO_FAULT_FOUND {
        return Ok(Vec::new());
    }
    let class = ComponentClass::named(&names.component.name);
    let hazard = class.hazard(&names.mode.key, store::hazard(names.mode.hazard));
    let advice = advice::advice(tx, finding.failure_mode_id, class).await?;
    let judging = Judging {
        act,
        call,
        finding,
        hazard,
        advice,
    };
    let mut flags = judging.groups(tx).await?;
    flags.extend(judging.address(tx).await?);
    Ok(flags)
}

struct Judging<'a> {
    act: &'a Act,
    call: &'a service_call::Model,
    finding: &'a finding::Model,
    hazard: Hazard,
    advice: Advice,
}

impl Judging<'_> {
    /// The groups of the repair that this call counts against.
    async fn groups(&self, tx: &impl ConnectionTrait) -> Result<Vec<flag::Model>> {
        let Some(repair) = shared::returned_by(tx, self.call.id).await? else {
            return Ok(Vec::new());
        };
        let watch = self.watch(tx).await?;
        let strata = Strata::read(tx).await?;
        let mut flags = Vec::new();
        for group in shared::groups_of(tx, repair.call_id).await? {
            flags.extend(self.group(tx, (&group, &watch, &strata)).await?);
        }
        Ok(flags)
    }

    async fn watch(&self, tx: &impl ConnectionTrait) -> Result<Watch> {
        let settings = shop::settings(tx).await?;
        let today = settings.day_of(self.act.at);
        let window_days = u32::try_from(settings.row.callback_window_days).unwrap_or(0);
        let from = today.checked_sub_months(Months::new(MONTHS_BACK));
        Ok(Watch {
            from: from.unwrap_or(today),
            through: today,
            window_days: window_days.max(1),
            today,
        })
    }

    async fn group(
        &self,
        tx: &impl ConnectionTrait,
        (group, watch, strata): (&repair_group::Model, &Watch, &Strata),
    ) -> Result<Option<flag::Model>> {
        let of_group = Of {
            group_key: Some(&group.group_key),
            ..Of::all(group.dimension)
        };
        let own = watched(tx, of_group, watch).await?;
        let back = own.iter().filter(|row| row.age_days > 0);
        if back.map(|row| row.repairs).sum::<i64>() < RETURNS_MIN {
            return Ok(None);
        }
        let component_ids: BTreeSet<i64> = own.iter().map(|row| row.component_id).collect();
        let component_ids = component_ids.into_iter().collect::<Vec<_>>();
        let of_shop = Of {
            component_ids: Some(&component_ids),
            ..Of::all(Dimension::Shop)
        };
        let comparable = watched(tx, of_shop, watch).await?;
        let machines = shared::machines_of_group(tx, group, watch).await?;
        let held = held_against(strata, (&own, &comparable), machines, watch);
        let Some((signal, returns, expected)) = held else {
            return Ok(None);
        };
        let level = match signal.level {
            Level::Nothing => return Ok(None),
            Level::Amber => kinds::FlagLevel::Watch,
            Level::Red => kinds::FlagLevel::Act,
        };
        let key = group.group_key.clone();
        let mut names = labels(tx, group.dimension, std::slice::from_ref(&key)).await?;
        let label = name(
            group.dimension,
            &names.remove(&key).unwrap_or_else(|| key.clone()),
        );
        let rest = rest(&own, &comparable);
        let said = Said {
            reason: sentence(
                &label,
                returns,
                &about(expected),
                &format!("{:.1}", signal.low),
            ),
            base: rest,
            evidence: (shared::returned_of_group(tx, group, watch).await?)
                .iter()
                .map(OnMachine::evidence)
                .collect(),
            shared: Some(Shared {
                pattern: pattern(group.dimension)?,
                key,
                label,
                observed: i64::try_from(returns.returned).unwrap_or(i64::MAX),
                expected: decimal(expected),
                ratio_low: decimal(signal.low),
            }),
            ..self.said(level, pattern(group.dimension)?)
        };
        Ok(Some(self.raise(tx, &said).await?))
    }

    /// The other machines at the address, for a heat or arc failure.
    async fn address(&self, tx: &impl ConnectionTrait) -> Result<Option<flag::Model>> {
        if !matches!(self.hazard, Hazard::Heat | Hazard::Arc) {
            return Ok(None);
        }
        let today = shop::settings(tx).await?.day_of(self.act.at);
        let others = shared::burnt_at_address(tx, self.call, (ADDRESS_DAYS, today)).await?;
        let machines = others.len() + 1;
        let Some(level) = super::level(at_address(machines)) else {
            return Ok(None);
        };
        let address =
            nameplate_entities::service_address::Entity::find_by_id(self.call.service_address_id)
                .one(tx)
                .await?
                .ok_or_else(|| Error::internal("a call names no address"))?;
        let label = format!("{}, {}", address.line1, address.city);
        let said = Said {
            reason: format!(
                "{label}: heat or arc failures on {machines} different machines within 24 months. What they share is the \
                 wiring and the supply of the house."
            ),
            evidence: others.iter().map(OnMachine::evidence).collect(),
            shared: Some(Shared {
                pattern: Pattern::Address,
                key: address.id.to_string(),
                label,
                observed: i64::try_from(machines).unwrap_or(i64::MAX),
                expected: None,
                ratio_low: None,
            }),
            ..self.said(level, Pattern::Address)
        };
        Ok(Some(self.raise(tx, &said).await?))
    }

    /// What all patterns of this finding say alike: the checks of the pattern before those of the failure.
    fn said(&self, level: kinds::FlagLevel, pattern: Pattern) -> Said<'_> {
        let checks = as_rule(pattern)
            .checks()
            .iter()
            .map(|text| (*text).to_owned());
        Said {
            call: self.call,
            finding: self.finding,
            level,
            reason: String::new(),
            base: (0, 0),
            checks: checks.chain(self.advice.checks.iter().cloned()).collect(),
            cautions: super::cautions(&self.advice, Caution::for_hazard(self.hazard)),
            evidence: Vec::new(),
            again: None,
            shared: None,
        }
    }

    async fn raise(&self, tx: &impl ConnectionTrait, said: &Said<'_>) -> Result<flag::Model> {
        let shared = said.shared.as_ref();
        let shared = shared.ok_or_else(|| Error::internal("a pattern without a name"))?;
        let before = shared::flag_of_pattern(tx, shared.pattern, &shared.key).await?;
        let raised = said.raise(tx, self.act, before).await?;
        if raised.is_news && raised.flag.level == kinds::FlagLevel::Act {
            let news = News {
                headline: format!("Several machines, one pattern: {}", shared.label),
                sentences: vec![format!("Found on call {}.", self.call.number)],
            };
            raising::tell_the_desk(tx, self.act, &raised.flag, news).await?;
        }
        Ok(raised.flag)
    }
}

/// What came back of a group, and what comparable work of the others lets expect; `None` where nothing can be expected.
fn held_against(
    strata: &Strata,
    (own, comparable): (&[Watched], &[Watched]),
    machines: i64,
    watch: &Watch,
) -> Option<(Signal, Returns, f64)> {
    let exposures = strata.exposures(own);
    let record = Record::of(
        &strata.exposures(comparable),
        &strata.names,
        watch.window_days,
    );
    let compared = record.compare(&exposures);
    let counts = Counts::of(exposures.iter().map(|row| row.observed), watch.window_days);
    let returns = Returns {
        returned: compared.returned_beside_rest,
        repairs: counts.repairs,
        machines: u64::try_from(machines).unwrap_or(0),
        window_days: watch.window_days,
    };
    let signal = RatioPrior::default().judge(cell(returns, compared.expected_by_rest))?;
    Some((signal, returns, compared.expected_by_rest))
}

fn cell(returns: Returns, expected: f64) -> Cell {
    Cell {
        observed: returns.returned,
        machines: returns.machines,
        expected,
    }
}

/// Comparable repairs of the others, and how many of them came back.
fn rest(own: &[Watched], comparable: &[Watched]) -> (i64, i64) {
    let repairs = |rows: &[Watched]| rows.iter().map(|row| row.repairs).sum::<i64>();
    let returned = |rows: &[Watched]| {
        let back = rows.iter().filter(|row| row.age_days > 0);
        back.map(|row| row.repairs).sum::<i64>()
    };
    (
        (repairs(comparable) - repairs(own)).max(0),
        (returned(comparable) - returned(own)).max(0),
    )
}

fn pattern(dimension: Dimension) -> Result<Pattern> {
    match dimension {
        Dimension::Model => Ok(Pattern::Model),
        Dimension::Part => Ok(Pattern::Part),
        Dimension::Lot => Ok(Pattern::Lot),
        Dimension::Method => Ok(Pattern::Method),
        _ => Err(Error::internal("no pattern is looked for by this")),
    }
}

fn as_rule(pattern: Pattern) -> nameplate_rules::flags::patterns::Pattern {
    use nameplate_rules::flags::patterns::Pattern as Rule;
    match pattern {
        Pattern::Model => Rule::Model,
        Pattern::Part => Rule::Part,
        Pattern::Lot => Rule::Lot,
        Pattern::Method => Rule::Method,
        Pattern::Address => Rule::Address,
    }
}

/// A group at the beginning of a sentence.
fn name(dimension: Dimension, label: &str) -> String {
    match dimension {
        Dimension::Part | Dimension::Lot => format!("Part {label}"),
        Dimension::Method => format!("Method \"{}\"", label.to_lowercase()),
        _ => label.to_owned(),
    }
}

/// A small number in words.
fn about(expected: f64) -> String {
    if expected < 0.05 {
        "fewer than 0.1".to_owned()
    } else {
        format!("about {expected:.1}")
    }
}

/// A figure of the statistics as it is kept: two decimals. It is no amount of money.
fn decimal(value: f64) -> Option<Decimal> {
    Decimal::from_f64(value).map(|value| value.round_dp(2))
}
