//! Raising a flag when a finding says that a failure is back, and opening it again when that comes back once more.
//!
//! A machine has one flag for a component and failure. The next such failure on a later call opens it again, whatever had
//! become of it: its call and finding are the new ones, the call before is among its evidence, and level, reason, base rate
//! and advice are as judged now. A failure that is judged to be no repeat any more, as so much time went by, leaves it alone.

use std::cmp::Ordering;

use nameplate_entities::kinds::{self, FlagState};
use nameplate_entities::{appliance, finding, flag, flag_evidence, flag_step, service_call};
use nameplate_rules::callback::NO_FAULT_FOUND;
use nameplate_rules::cautions::Caution;
use nameplate_rules::dates::whole_days_between;
use nameplate_rules::flags::{
    BaseRate, ComponentClass, EarlierRepair, FlagLevel, FlagLimits, Identity, RepeatFlag,
    RepeatQuestion, repeat_flag,
};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel,
    QueryFilter,
};

use crate::base::audit::{self, Subject};
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Error, Result, Right};
use crate::warranty::Repair;

use super::advice::{self, Advice};
use super::store::{self, Failure};
use super::tally;

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
    let raising = Raising {
        call,
        finding,
        failure,
        level,
        base: base_rate(tx, failure, &earlier).await?,
        cautions: cautions(&advice, Caution::for_hazard(hazard)),
        advice,
        judged,
        earlier: &earlier,
    };
    let (row, is_news) = raising.raise(tx, act).await?;
    if is_news && row.level == kinds::FlagLevel::Act {
        raising.tell_the_desk(tx, act, &row, &machine).await?;
    }
    Ok(Some(row))
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

/// How loud a level is, for comparing.
fn loudness(level: kinds::FlagLevel) -> u8 {
    match level {
        kinds::FlagLevel::Watch => 1,
        kinds::FlagLevel::Act => 2,
    }
}

/// What measures a flag: the shop's count of such repairs on other machines, the tally less what this machine added to it.
async fn base_rate(
    db: &impl ConnectionTrait,
    failure: Failure,
    on_this_machine: &[store::EarlierRepair],
) -> Result<BaseRate> {
    let row = tally::find(db, failure.of).await?;
    let (repairs, returned) = row.map_or((0, 0), |row| (row.repairs, row.returned));
    let own = on_this_machine.len();
    let less = |all: i64, own: usize| {
        u32::try_from(all)
            .unwrap_or(0)
            .saturating_sub(u32::try_from(own).unwrap_or(u32::MAX))
    };
    BaseRate::new(less(repairs, own), less(returned, own.saturating_sub(1)))
        .map_err(|error| Error::caused("base rate of a flag", error))
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

/// All that a flag says.
struct Raising<'a> {
    call: &'a service_call::Model,
    finding: &'a finding::Model,
    failure: Failure,
    level: kinds::FlagLevel,
    judged: RepeatFlag,
    earlier: &'a [store::EarlierRepair],
    base: BaseRate,
    advice: Advice,
    cautions: Vec<Caution>,
}

impl Raising<'_> {
    /// The machine's flag of this failure, and whether the desk does not know of it yet.
    async fn raise(&self, tx: &impl ConnectionTrait, act: &Act) -> Result<(flag::Model, bool)> {
        let before = store::flag_of_machine(tx, self.failure).await?;
        let row = match &before {
            None => self.filled(act, None)?.insert(tx).await?,
            Some(row) if !self.is_news_to(row) => return Ok((row.clone(), false)),
            Some(row) => self.open_again(tx, act, row).await?,
        };
        self.keep_evidence(tx, row.id).await?;
        let subject = Subject {
            kind: "flag",
            id: row.id,
        };
        let verb = Right::RecordFinding.mutation();
        audit::record(tx, act, verb, subject, (before.as_ref(), Some(&row))).await?;
        Ok((row, true))
    }

    /// Whether the failure is back on a later call than the flag's, or more severe on the same.
    fn is_news_to(&self, row: &flag::Model) -> bool {
        match self.call.id.cmp(&row.call_id) {
            Ordering::Greater => true,
            Ordering::Equal => loudness(self.level) > loudness(row.level),
            Ordering::Less => false,
        }
    }

    /// The same flag, open again whatever was said about it.
    async fn open_again(
        &self,
        tx: &impl ConnectionTrait,
        act: &Act,
        row: &flag::Model,
    ) -> Result<flag::Model> {
        let mut changed = self.filled(act, Some(row))?;
        changed.version = Set(row.version + 1);
        let after = changed.update(tx).await?;
        let note = if row.call_id != self.call.id {
            format!("Opened again: back on call {}.", self.call.number)
        } else if row.state != FlagState::Open {
            "Opened again: the flag grew more severe.".to_owned()
        } else {
            return Ok(after);
        };
        flag_step::ActiveModel {
            flag_id: Set(row.id),
            at: Set(act.at),
            staff_id: Set(self.finding.found_by),
            state: Set(FlagState::Open),
            note: Set(note),
            ..Default::default()
        }
        .insert(tx)
        .await?;
        Ok(after)
    }

    fn filled(&self, act: &Act, before: Option<&flag::Model>) -> Result<flag::ActiveModel> {
        let mut row = match before {
            Some(row) => row.clone().into_active_model(),
            None => flag::ActiveModel {
                appliance_id: Set(self.call.appliance_id),
                component_id: Set(self.finding.component_id),
                failure_mode_id: Set(self.finding.failure_mode_id),
                version: Set(1),
                ..Default::default()
            },
        };
        let cautions = self.cautions.iter().map(|caution| caution.text());
        row.call_id = Set(self.call.id);
        row.finding_id = Set(self.finding.id);
        row.level = Set(self.level);
        row.state = Set(FlagState::Open);
        row.reason = Set(self.judged.text.clone());
        row.base_repairs = Set(i64::from(self.base.repairs()));
        row.base_returned = Set(i64::from(self.base.returned()));
        row.next_checks_json = Set(json(&self.advice.checks)?);
        row.cautions_json = Set(json(&cautions.collect::<Vec<_>>())?);
        row.raised_at = Set(act.at);
        Ok(row)
    }

    /// Writes the repairs the flag rests on. Those that are there already stay; their days are counted to the flag's call.
    async fn keep_evidence(&self, tx: &impl ConnectionTrait, flag_id: i64) -> Result<()> {
        let known = flag_evidence::Entity::find()
            .filter(flag_evidence::Column::FlagId.eq(flag_id))
            .all(tx)
            .await?;
        for row in &known {
            let days_before = whole_days_between(row.completed_on, self.call.opened_on);
            let days_before = i32::try_from(days_before).unwrap_or(i32::MAX);
            if days_before != row.days_before {
                let mut row = row.clone().into_active_model();
                row.days_before = Set(days_before);
                row.update(tx).await?;
            }
        }
        let rows = self
            .judged
            .evidence
            .iter()
            .filter_map(|evidence| Some((evidence, self.earlier.get(evidence.index)?)))
            .filter(|(_, repair)| known.iter().all(|row| row.finding_id != repair.finding_id))
            .map(|(evidence, repair)| flag_evidence::ActiveModel {
                flag_id: Set(flag_id),
                call_id: Set(repair.call_id),
                finding_id: Set(repair.finding_id),
                completed_on: Set(repair.completed_on),
                days_before: Set(i32::try_from(evidence.days_apart).unwrap_or(i32::MAX)),
                method: Set(repair.method),
                ..Default::default()
            })
            .collect::<Vec<_>>();
        if !rows.is_empty() {
            flag_evidence::Entity::insert_many(rows).exec(tx).await?;
        }
        Ok(())
    }

    /// Queues a mail to everybody at the desk.
    async fn tell_the_desk(
        &self,
        tx: &impl ConnectionTrait,
        act: &Act,
        row: &flag::Model,
        machine: &appliance::Model,
    ) -> Result<()> {
        let mark = machine.serial.as_deref().or(machine.shop_tag.as_deref());
        let name = [Some(machine.make.as_str()), Some(&machine.model), mark]
            .into_iter()
            .flatten()
            .collect::<Vec<_>>()
            .join(" ");
        let payload = Payload::Notice {
            headline: format!("A failure is back: {name}, call {}", self.call.number),
            sentences: vec![
                row.reason.clone(),
                format!("On other machines: {}.", self.base.sentence()),
                "A root cause is asked for before this call can be completed.".to_owned(),
            ],
        };
        let about = Subject {
            kind: "flag",
            id: row.id,
        };
        for person in store::desk(tx).await? {
            let to = Addressee {
                email: person.email,
                name: person.name,
            };
            outbox::enqueue(tx, act, &to, about, &payload).await?;
        }
        Ok(())
    }
}

fn json<T: serde::Serialize>(value: &T) -> Result<String> {
    serde_json::to_string(value).map_err(|error| Error::caused("texts of a flag", error))
}
