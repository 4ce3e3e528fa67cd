//! Writing a flag: raised, opened again or grown more severe, with the repairs it rests on.

use std::cmp::Ordering;

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{self, FlagState, Method, Pattern};
use nameplate_entities::{finding, flag, flag_evidence, flag_step, service_call};
use nameplate_rules::cautions::Caution;
use rust_decimal::Decimal;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel,
    QueryFilter,
};

use crate::base::audit::{self, Subject};
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Error, Result, Right};

use super::super::store;

/// Most repairs that a flag keeps.
pub const EVIDENCE_MAX: usize = 50;

/// All that a flag says.
pub struct Said<'a> {
    /// The call at hand, and what was found on it.
    pub call: &'a service_call::Model,
    pub finding: &'a finding::Model,
    pub level: kinds::FlagLevel,
    pub reason: String,
    /// Comparable repairs elsewhere, and how many of them returned.
    pub base: (i64, i64),
    pub checks: Vec<String>,
    pub cautions: Vec<Caution>,
    pub evidence: Vec<Evidence>,
    /// How often it came back on this machine; `None` for a flag about several machines.
    pub again: Option<Again>,
    /// What several machines have in common; `None` for a flag about one machine.
    pub shared: Option<Shared>,
}

/// A call that a flag rests on: a repair that came back, or one on which it was found before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Evidence {
    pub call_id: i64,
    pub finding_id: i64,
    /// The day that call was completed; while it is not, that on which it was taken.
    pub on: NaiveDate,
    pub method: Option<Method>,
}

/// How often a failure came back on one machine, and how long that one and the others were watched for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Again {
    /// The failure at hand counts.
    pub times: i64,
    /// Since the first such repair on the machine.
    pub own_days: i64,
    /// Since the first such repair on each of the others, added up.
    pub watched_days: i64,
}

/// What several machines have in common, and how much more often they return.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shared {
    pub pattern: Pattern,
    pub key: String,
    pub label: String,
    pub observed: i64,
    pub expected: Option<Decimal>,
    pub ratio_low: Option<Decimal>,
}

/// A flag as it is now, and whether the desk does not know of it yet.
pub struct Raised {
    pub flag: flag::Model,
    pub is_news: bool,
}

/// How loud a level is, for comparing.
fn loudness(level: kinds::FlagLevel) -> u8 {
    match level {
        kinds::FlagLevel::Watch => 1,
        kinds::FlagLevel::Act => 2,
    }
}

impl Said<'_> {
    /// Raises the flag, or opens the one there was again.
    ///
    /// # Errors
    /// Internal only.
    pub async fn raise(
        &self,
        tx: &impl ConnectionTrait,
        act: &Act,
        before: Option<flag::Model>,
    ) -> Result<Raised> {
        let (flag, is_news) = match &before {
            None => (self.filled(act, None)?.insert(tx).await?, true),
            Some(row) if self.is_news_to(row) => (self.open_again(tx, act, row).await?, true),
            Some(row) if self.shared.is_some() => (self.grown(row)?.update(tx).await?, false),
            Some(row) => {
                let (flag, is_news) = (row.clone(), false);
                return Ok(Raised { flag, is_news });
            }
        };
        self.keep_evidence(tx, &flag, before.as_ref()).await?;
        let subject = Subject {
            kind: "flag",
            id: flag.id,
        };
        let verb = Right::RecordFinding.mutation();
        audit::record(tx, act, verb, subject, (before.as_ref(), Some(&flag))).await?;
        Ok(Raised { flag, is_news })
    }

    /// Whether the failure is back on a later call than the flag's, or more severe on the same. About several machines:
    /// whether it is more severe, or back on another call after it was closed.
    fn is_news_to(&self, row: &flag::Model) -> bool {
        if self.shared.is_some() {
            let is_back = row.state == FlagState::Closed && row.call_id != self.call.id;
            return is_back || loudness(self.level) > loudness(row.level);
        }
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

    /// A flag about several machines with one more return: its figures are those of now, and it is at the call at hand. Its
    /// level and what people made of it stay.
    fn grown(&self, row: &flag::Model) -> Result<flag::ActiveModel> {
        let mut changed = row.clone().into_active_model();
        self.place(&mut changed)?;
        self.measure(&mut changed);
        changed.version = Set(row.version + 1);
        Ok(changed)
    }

    fn filled(&self, act: &Act, before: Option<&flag::Model>) -> Result<flag::ActiveModel> {
        let mut row = match before {
            Some(row) => row.clone().into_active_model(),
            None => flag::ActiveModel {
                version: Set(1),
                ..Default::default()
            },
        };
        self.place(&mut row)?;
        self.measure(&mut row);
        row.level = Set(self.level);
        row.state = Set(FlagState::Open);
        row.raised_at = Set(act.at);
        row.again = Set(self.again.map(|again| again.times));
        row.own_days = Set(self.again.map(|again| again.own_days));
        row.watched_days = Set(self.again.map(|again| again.watched_days));
        let shared = self.shared.as_ref();
        row.pattern = Set(shared.map(|shared| shared.pattern));
        row.pattern_key = Set(shared.map(|shared| shared.key.clone()));
        row.pattern_label = Set(shared.map(|shared| shared.label.clone()));
        Ok(row)
    }

    /// Puts a flag at the call at hand, with what was found there and what that asks for.
    fn place(&self, row: &mut flag::ActiveModel) -> Result<()> {
        let cautions = self.cautions.iter().map(|caution| caution.text());
        row.call_id = Set(self.call.id);
        row.appliance_id = Set(self.call.appliance_id);
        row.component_id = Set(self.finding.component_id);
        row.failure_mode_id = Set(self.finding.failure_mode_id);
        row.finding_id = Set(self.finding.id);
        row.next_checks_json = Set(json(&self.checks)?);
        row.cautions_json = Set(json(&cautions.collect::<Vec<_>>())?);
        Ok(())
    }

    /// Gives a flag the reason and figures of now.
    fn measure(&self, row: &mut flag::ActiveModel) {
        row.reason = Set(self.reason.clone());
        (row.base_repairs, row.base_returned) = (Set(self.base.0), Set(self.base.1));
        let shared = self.shared.as_ref();
        row.observed = Set(shared.map(|shared| shared.observed));
        row.expected = Set(shared.and_then(|shared| shared.expected).map(Exact));
        row.ratio_low = Set(shared.and_then(|shared| shared.ratio_low).map(Exact));
    }

    /// Writes the calls the flag rests on. Those that are there already stay; one about several machines keeps those it was
    /// raised with and some later ones, the call at which it stood before first of all, and each call once.
    async fn keep_evidence(
        &self,
        tx: &impl ConnectionTrait,
        flag: &flag::Model,
        before: Option<&flag::Model>,
    ) -> Result<()> {
        let known = flag_evidence::Entity::find()
            .filter(flag_evidence::Column::FlagId.eq(flag.id))
            .all(tx)
            .await?;
        // What was found on the flag's own call is no earlier repair.
        let (own, kept): (Vec<_>, Vec<_>) =
            (known.into_iter()).partition(|row| row.call_id == flag.call_id);
        if !own.is_empty() {
            flag_evidence::Entity::delete_many()
                .filter(flag_evidence::Column::FlagId.eq(flag.id))
                .filter(flag_evidence::Column::CallId.eq(flag.call_id))
                .exec(tx)
                .await?;
        }
        let one_a_call = self.shared.is_some();
        let is_same = |new: &Evidence, (call_id, finding_id): (i64, i64)| {
            new.finding_id == finding_id || (one_a_call && new.call_id == call_id)
        };
        let mut rows: Vec<Evidence> = Vec::new();
        let former = match before {
            Some(row) if one_a_call && row.call_id != flag.call_id => former(tx, row).await?,
            _ => None,
        };
        for new in former.iter().chain(&self.evidence) {
            let is_known = (kept.iter()).any(|row| is_same(new, (row.call_id, row.finding_id)))
                || (rows.iter()).any(|row| is_same(new, (row.call_id, row.finding_id)));
            if !is_known && new.call_id != flag.call_id {
                rows.push(*new);
            }
        }
        rows.truncate(EVIDENCE_MAX.saturating_sub(kept.len()));
        let rows = rows
            .iter()
            .map(|row| flag_evidence::ActiveModel {
                flag_id: Set(flag.id),
                call_id: Set(row.call_id),
                finding_id: Set(row.finding_id),
                completed_on: Set(row.on),
                method: Set(row.method),
                ..Default::default()
            })
            .collect::<Vec<_>>();
        if !rows.is_empty() {
            flag_evidence::Entity::insert_many(rows).exec(tx).await?;
        }
        Ok(())
    }
}

/// What was found on the call at which a flag stood until now.
async fn former(tx: &impl ConnectionTrait, flag: &flag::Model) -> Result<Option<Evidence>> {
    let call = service_call::Entity::find_by_id(flag.call_id)
        .one(tx)
        .await?;
    Ok(call.map(|call| Evidence {
        call_id: call.id,
        finding_id: flag.finding_id,
        on: call.completed_on.unwrap_or(call.opened_on),
        method: None,
    }))
}

/// What the desk is told beside the reason of a flag.
pub struct News {
    pub headline: String,
    /// Behind the reason of the flag.
    pub sentences: Vec<String>,
}

/// Queues a mail to everybody at the desk about a flag that asks to act.
///
/// # Errors
/// Internal only.
pub async fn tell_the_desk(
    tx: &impl ConnectionTrait,
    act: &Act,
    flag: &flag::Model,
    news: News,
) -> Result<()> {
    let payload = Payload::Notice {
        headline: news.headline,
        sentences: std::iter::once(flag.reason.clone())
            .chain(news.sentences)
            .collect(),
    };
    let about = Subject {
        kind: "flag",
        id: flag.id,
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

fn json<T: serde::Serialize>(value: &T) -> Result<String> {
    serde_json::to_string(value).map_err(|error| Error::caused("texts of a flag", error))
}
