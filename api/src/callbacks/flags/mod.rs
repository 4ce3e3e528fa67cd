//! Raising a flag when a finding says that a failure is back, and opening it again when that comes back once more.
//!
//! A machine has one flag for a component and failure. The next such failure on a later call opens it again, whatever had
//! become of it: its call and finding are the new ones, the call before is among its evidence, and level, reason, base rate
//! and advice are as judged now. A failure that is judged to be no repeat any more, as so much time went by, leaves it alone.

pub mod patterns;
mod raising;
mod shared;

use chrono::NaiveDate;
use nameplate_entities::kinds;
use nameplate_entities::{appliance, finding, flag, service_call};
use nameplate_rules::callback::NO_FAULT_FOUND;
use nameplate_rules::cautions::Caution;
use nameplate_rules::dates::whole_days_between;
use nameplate_rules::flags::{
    BaseRate, ComponentClass, EarlierRepair, FlagLevel, FlagLimits, Identity, RepeatFlag,
    RepeatQuestion, repeat_flag,
};
use sea_orm::ConnectionTrait;

use crate::base::{Act, Error, Result};
use crate::warranty::Repair;

use super::advice::{self, Advice};
use super::store::{self, Failure};
use super::tally;
use raising::{Again, Evidence, News, Said};

/// Judges a finding just recorded against what was repaired on the machine before, and raises the flag, opens it again or
/// sharpens it.
///
/// Nothing for a first failure, for "no fault found", and for a machine without serial or shop tag. Staff at the desk
/// are told by mail when the flag asks to act.
///
/// # Errors
/// Internal only.
pub async fn judge(
    tx: &impl ConnectionTrait,
    act: &Act,
    call: &service_call::Model,
    finding: &finding::Model,
) -> Result<Option<flag::Model>> {
    let names = store::failure_names(tx, finding.component_id, finding.failure_mode_id).await?;
    if names.mode.key == NO_FAULT_FOUND {
        return Ok(None);
    }
    let machine = store::appliance_of(tx, call.appliance_id).await?;
    let failure = Failure {
        appliance_id: call.appliance_id,
        of: Repair {
            component_id: finding.component_id,
            failure_mode_id: finding.failure_mode_id,
        },
    };
    let earlier = store::earlier_repairs(tx, failure, call.id).await?;
    let class = ComponentClass::named(&names.component.name);
    let hazard = class.hazard(&names.mode.key, store::hazard(names.mode.hazard));
    let judged = repeat_flag(&RepeatQuestion {
        failure: &words(&names),
        identity: identity(&machine),
        opened_on: call.opened_on,
        hazard,
        earlier: &earlier.iter().map(as_rule).collect::<Vec<_>>(),
        limits: FlagLimits::default(),
    });
    let Some(level) = level(judged.level) else {
        return Ok(None);
    };
    let advice = advice::advice(tx, finding.failure_mode_id, class).await?;
    let measure = Measure::of(tx, failure, (&earlier, call.opened_on)).await?;
    let base = measure.base;
    let said = Said {
        call,
        finding,
        level,
        reason: judged.text.clone(),
        base: (i64::from(base.repairs()), i64::from(base.returned())),
        cautions: cautions(&advice, Caution::for_hazard(hazard)),
        checks: advice.checks,
        evidence: evidence(&judged, &earlier),
        again: measure.again,
        shared: None,
    };
    let before = store::flag_of_machine(tx, failure).await?;
    let raised = said.raise(tx, act, before).await?;
    if raised.is_news && raised.flag.level == kinds::FlagLevel::Act {
        let news = News {
            headline: format!(
                "A failure is back: {}, call {}",
                name_of(&machine),
                call.number
            ),
            sentences: vec![
                format!("On other machines: {}.", base.sentence()),
                "A root cause is asked for before this call can be completed.".to_owned(),
            ],
        };
        raising::tell_the_desk(tx, act, &raised.flag, news).await?;
    }
    Ok(Some(raised.flag))
}

/// Days from the completion of a call that a flag rests on to the day on which the flag's own call was taken; from the
/// opening of that call where it was not completed by then, and 0 where that came later too.
pub fn days_before(
    (opened_on, completed_on): (NaiveDate, Option<NaiveDate>),
    own_on: NaiveDate,
) -> i32 {
    let completed_on = completed_on.filter(|day| *day <= own_on);
    let days = whole_days_between(completed_on.unwrap_or(opened_on), own_on);
    i32::try_from(days.max(0)).unwrap_or(i32::MAX)
}

/// Make, model and what tells the machine from others.
fn name_of(machine: &appliance::Model) -> String {
    let mark = machine.serial.as_deref().or(machine.shop_tag.as_deref());
    [Some(machine.make.as_str()), Some(&machine.model), mark]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(" ")
}

/// The repairs that the judgement rests on.
fn evidence(judged: &RepeatFlag, earlier: &[store::EarlierRepair]) -> Vec<Evidence> {
    judged
        .evidence
        .iter()
        .filter_map(|evidence| earlier.get(evidence.index))
        .map(|repair| Evidence {
            call_id: repair.call_id,
            finding_id: repair.finding_id,
            on: repair.completed_on,
            method: repair.method,
        })
        .collect()
}

/// The failure in words that fit after a number: "burnt surface burner terminal".
fn words(names: &store::FailureNames) -> String {
    format!(
        "{} {}",
        names.mode.key.replace('_', " "),
        names.component.name.to_lowercase()
    )
}

fn identity(machine: &appliance::Model) -> Identity {
    match (&machine.serial_key, &machine.shop_tag) {
        (Some(_), _) => Identity::Serial,
        (None, Some(_)) => Identity::ShopTag,
        (None, None) => Identity::Missing,
    }
}

fn as_rule(repair: &store::EarlierRepair) -> EarlierRepair {
    EarlierRepair {
        completed_on: repair.completed_on,
        workmanship_through: repair.labour_through,
    }
}

fn level(level: FlagLevel) -> Option<kinds::FlagLevel> {
    match level {
        FlagLevel::None => None,
        FlagLevel::Watch => Some(kinds::FlagLevel::Watch),
        FlagLevel::Act => Some(kinds::FlagLevel::Act),
    }
}

/// What measures a flag: the shop's count of such repairs on other machines, the tally less what this machine added to it,
/// and for how long these machines and this one were watched.
struct Measure {
    base: BaseRate,
    again: Option<Again>,
}

impl Measure {
    async fn of(
        db: &impl ConnectionTrait,
        failure: Failure,
        (earlier, opened_on): (&[store::EarlierRepair], NaiveDate),
    ) -> Result<Self> {
        let own = i64::try_from(earlier.len()).unwrap_or(i64::MAX);
        let row = tally::find(db, failure.of).await?;
        let (repairs, returned, first_days) =
            row.map_or((0, 0, 0), |row| (row.repairs, row.returned, row.first_days));
        let less = |all: i64, own: i64| u32::try_from((all - own).max(0)).unwrap_or(u32::MAX);
        let base = BaseRate::new(less(repairs, own), less(returned, (own - 1).max(0)))
            .map_err(|error| Error::caused("base rate of a flag", error))?;
        let again = earlier.first().map(|first| {
            let machines = i64::from(base.repairs() - base.returned());
            let others_first = first_days - tally::day_number(first.completed_on);
            let watched = machines * tally::day_number(opened_on) - others_first;
            Again {
                times: own,
                own_days: whole_days_between(first.completed_on, opened_on).max(1),
                watched_days: watched.max(0),
            }
        });
        Ok(Self { base, again })
    }
}

/// Each caution once, in the order in which cautions are shown. Isolation is among them, whatever the shop's list says.
fn cautions(advice: &Advice, of_hazard: &[Caution]) -> Vec<Caution> {
    let mut all = vec![Caution::IsolateAndProveDead];
    all.extend(&advice.cautions);
    all.extend(of_hazard);
    all.sort_unstable();
    all.dedup();
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_count_from_completion_or_from_the_opening_of_what_was_under_way() {
        let day = |text: &str| text.parse::<NaiveDate>().expect("a day");
        let own_on = day("2026-03-10");
        let opened_on = day("2026-03-01");
        let before = |completed_on| days_before((opened_on, completed_on), own_on);
        assert_eq!(before(Some(day("2026-03-04"))), 6);
        assert_eq!(before(Some(own_on)), 0);
        assert_eq!(before(None), 9);
        assert_eq!(before(Some(day("2026-03-11"))), 9);
        let taken_later = (day("2026-03-12"), Some(day("2026-03-14")));
        assert_eq!(days_before(taken_later, own_on), 0);
    }
}
