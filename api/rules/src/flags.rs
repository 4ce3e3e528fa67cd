//! The repeat-failure flag on one appliance: a rule that anyone can check with a calendar.
//!
//! Counted are completed repairs with the same component and the same failure mode on the same machine; the call being
//! opened counts as the newest. What must stay true: every limit is inclusive; one more earlier repair never makes a
//! flag milder; a machine that cannot be identified gets no flag; the answer names the repairs it rests on. What to look
//! at next time is in [`next_checks`], how rare the failure is over the whole shop in [`base_rate`].

pub mod base_rate;
pub mod component_class;
pub mod next_checks;
pub mod patterns;

pub use base_rate::{BASE_RATE_REPAIRS_MIN, BaseRate, BaseRateRefusal};
pub use component_class::ComponentClass;

use crate::dates::whole_days_between;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// What can go wrong for people when this failure comes back.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Hazard {
    #[default]
    None,
    Heat,
    Arc,
    Gas,
    WaterOnElectrics,
}

/// How the machine is known. Without a serial number or a shop tag its history cannot be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Identity {
    Serial,
    ShopTag,
    Missing,
}

/// How loud the flag is. Ordered from mild to severe.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(rename_all = "snake_case")]
pub enum FlagLevel {
    #[default]
    None,
    Watch,
    /// Asks for a root cause before the call can close.
    Act,
}

/// The limits of the rule, in days, each inclusive.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FlagLimits {
    /// Within this, a second failure is watched and a third acted on. Default 730 (24 months).
    pub watch_days: u32,
    /// Within this, a second failure is acted on. Default 90.
    pub act_days: u32,
    /// Within this, a second dangerous failure is acted on. Default `None`: however long ago the first was.
    pub hazard_days: Option<u32>,
}

impl Default for FlagLimits {
    fn default() -> Self {
        Self {
            watch_days: 730,
            act_days: 90,
            hazard_days: None,
        }
    }
}

/// An earlier completed repair of the same component and failure mode on the same machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct EarlierRepair {
    pub completed_on: NaiveDate,
    /// Last day of the shop's workmanship (labour) warranty on that repair, if there was one.
    pub workmanship_through: Option<NaiveDate>,
}

/// What is asked about one call being opened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RepeatQuestion<'a> {
    /// The failure in words that fit after a number, such as "burnt terminal".
    pub failure: &'a str,
    pub identity: Identity,
    pub opened_on: NaiveDate,
    pub hazard: Hazard,
    /// In any order; repairs completed after the opening day are left out.
    pub earlier: &'a [EarlierRepair],
    pub limits: FlagLimits,
}

/// One part of the rule that was met.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FlagReason {
    SecondWithinWatchDays,
    SecondWithinActDays,
    SecondInsideWorkmanship,
    ThirdWithinWatchDays,
    SecondDangerous,
}

impl FlagReason {
    /// The level this reason alone gives.
    #[must_use]
    pub fn level(self) -> FlagLevel {
        if self == Self::SecondWithinWatchDays {
            FlagLevel::Watch
        } else {
            FlagLevel::Act
        }
    }
}

/// An earlier repair on which the flag rests.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Evidence {
    /// Place in the list that was given.
    pub index: usize,
    pub completed_on: NaiveDate,
    /// Days from that completion to the opening day; 0 on the same day.
    pub days_apart: u32,
}

/// The answer: a level, why, in words, and the repairs it rests on, oldest first.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RepeatFlag {
    pub level: FlagLevel,
    pub reasons: Vec<FlagReason>,
    pub evidence: Vec<Evidence>,
    /// The machine could not be identified, so nothing was judged. Count these apart.
    pub serial_missing: bool,
    /// A sentence or two for a person; empty when there is nothing to say.
    pub text: String,
}

/// Judges whether the same failure is back too soon or too often.
///
/// # Source
/// The shop's own repeat-failure rule (common practice, no source); worked/flags.json.
#[must_use]
pub fn repeat_flag(question: &RepeatQuestion<'_>) -> RepeatFlag {
    if question.identity == Identity::Missing {
        return unjudged();
    }
    let past = past_repairs(question);
    let reasons = reasons(question, &past);
    let evidence = evidence(question, &past, &reasons);
    let level = reasons
        .iter()
        .map(|reason| reason.level())
        .max()
        .unwrap_or_default();
    let text = text(question, &reasons, &evidence);
    RepeatFlag {
        level,
        reasons,
        evidence,
        serial_missing: false,
        text,
    }
}

fn unjudged() -> RepeatFlag {
    RepeatFlag {
        level: FlagLevel::None,
        reasons: Vec::new(),
        evidence: Vec::new(),
        serial_missing: true,
        text: "No serial number or shop tag: repeat failures cannot be judged. Read the plate or tag the machine.".to_owned(),
    }
}

/// A repair before the opening day, with its warranty.
struct Past {
    evidence: Evidence,
    inside_workmanship: bool,
}

fn past_repairs(question: &RepeatQuestion<'_>) -> Vec<Past> {
    let mut past: Vec<Past> = question
        .earlier
        .iter()
        .enumerate()
        .filter_map(|(index, repair)| {
            let days_apart =
                u32::try_from(whole_days_between(repair.completed_on, question.opened_on)).ok()?;
            Some(Past {
                evidence: Evidence {
                    index,
                    completed_on: repair.completed_on,
                    days_apart,
                },
                inside_workmanship: repair
                    .workmanship_through
                    .is_some_and(|through| question.opened_on <= through),
            })
        })
        .collect();
    past.sort_by_key(|p| (p.evidence.completed_on, p.evidence.index));
    past
}

fn reasons(question: &RepeatQuestion<'_>, past: &[Past]) -> Vec<FlagReason> {
    let within = |days: u32| {
        past.iter()
            .filter(|p| p.evidence.days_apart <= days)
            .count()
    };
    let limits = question.limits;
    let rules = [
        (
            FlagReason::SecondWithinWatchDays,
            within(limits.watch_days) >= 1,
        ),
        (
            FlagReason::SecondWithinActDays,
            within(limits.act_days) >= 1,
        ),
        (
            FlagReason::SecondInsideWorkmanship,
            past.iter().any(|p| p.inside_workmanship),
        ),
        (
            FlagReason::ThirdWithinWatchDays,
            within(limits.watch_days) >= 2,
        ),
        (
            FlagReason::SecondDangerous,
            question.hazard != Hazard::None && within(limits.hazard_days.unwrap_or(u32::MAX)) >= 1,
        ),
    ];
    rules
        .into_iter()
        .filter(|(_, met)| *met)
        .map(|(reason, _)| reason)
        .collect()
}

/// Every repair that makes one of the met rules true.
fn evidence(question: &RepeatQuestion<'_>, past: &[Past], reasons: &[FlagReason]) -> Vec<Evidence> {
    let limits = question.limits;
    let counts_for = |reason: &FlagReason, p: &Past| match reason {
        FlagReason::SecondWithinWatchDays | FlagReason::ThirdWithinWatchDays => {
            p.evidence.days_apart <= limits.watch_days
        }
        FlagReason::SecondWithinActDays => p.evidence.days_apart <= limits.act_days,
        FlagReason::SecondInsideWorkmanship => p.inside_workmanship,
        FlagReason::SecondDangerous => limits
            .hazard_days
            .is_none_or(|days| p.evidence.days_apart <= days),
    };
    past.iter()
        .filter(|p| reasons.iter().any(|reason| counts_for(reason, p)))
        .map(|p| p.evidence)
        .collect()
}

fn text(question: &RepeatQuestion<'_>, reasons: &[FlagReason], evidence: &[Evidence]) -> String {
    let Some(oldest) = evidence.first() else {
        return String::new();
    };
    let ordinal = ordinal(evidence.len().saturating_add(1));
    let span = span(oldest.days_apart);
    let dates: Vec<String> = evidence
        .iter()
        .map(|e| format!("{} ({})", e.completed_on, days_before(e.days_apart)))
        .collect();
    let whys: Vec<String> = reasons
        .iter()
        .map(|reason| why(*reason, question))
        .collect();
    format!(
        "{ordinal} {} on this appliance {span}. Repaired before on {}. Why: {}.",
        question.failure,
        dates.join(", "),
        whys.join("; ")
    )
}

fn why(reason: FlagReason, question: &RepeatQuestion<'_>) -> String {
    let limits = question.limits;
    match reason {
        FlagReason::SecondWithinWatchDays => format!("came back within {} days", limits.watch_days),
        FlagReason::SecondWithinActDays => format!("came back within {} days", limits.act_days),
        FlagReason::SecondInsideWorkmanship => {
            "came back inside the workmanship warranty".to_owned()
        }
        FlagReason::ThirdWithinWatchDays => {
            format!("third time or more within {} days", limits.watch_days)
        }
        FlagReason::SecondDangerous => {
            format!("a repeated failure with {}", hazard_words(question.hazard))
        }
    }
}

fn hazard_words(hazard: Hazard) -> &'static str {
    match hazard {
        Hazard::None => "no known danger",
        Hazard::Heat => "danger of overheating",
        Hazard::Arc => "danger of arcing",
        Hazard::Gas => "danger of escaping gas",
        Hazard::WaterOnElectrics => "water on electrical parts",
    }
}

/// Whole months from two months on, rounded to the nearest; days before that.
fn span(days: u32) -> String {
    match days {
        0 => "on the same day".to_owned(),
        1 => "in 1 day".to_owned(),
        2..=59 => format!("in {days} days"),
        _ => format!("in {} months", (u64::from(days) * 24 + 365) / 730),
    }
}

fn days_before(days: u32) -> String {
    match days {
        0 => "the same day".to_owned(),
        1 => "1 day before".to_owned(),
        _ => format!("{days} days before"),
    }
}

fn ordinal(n: usize) -> String {
    match n {
        2 => "Second".to_owned(),
        3 => "Third".to_owned(),
        4 => "Fourth".to_owned(),
        5 => "Fifth".to_owned(),
        _ => format!("Number {n}:"),
    }
}

#[cfg(test)]
mod tests;
