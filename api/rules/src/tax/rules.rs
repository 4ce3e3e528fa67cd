//! Rules of taxability: facts of a sale, conditions on them, and what follows.
//!
//! A rule is data. No place's name stands here; what a statute or regulation says of a kind of charge becomes an
//! ordered list of such rules, and the first whose conditions hold decides.

use std::fmt;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::money::Cents;
use crate::percent::Percent;

use super::place::covers;

/// Whether the customer's document states its charges one by one.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StatedAs {
    /// Each charge on its own line.
    #[default]
    Separately,
    /// One amount for all of them.
    LumpSum,
}

/// Whether anything was built into the machine, however small.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Material {
    /// A part was furnished; a wire terminal is one.
    Furnished,
    /// None, and the shop's records prove it.
    NoneProven,
    /// None, but nothing proves it.
    NoneUnproven,
}

/// What came of the work.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// The machine is repaired.
    #[default]
    Repaired,
    /// It was only found out what is wrong.
    OnlyDiagnosed,
}

/// What a trip was for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Serves {
    /// Bringing parts only.
    Parts,
    /// Bringing someone to work only.
    Labour,
    /// Both, such as keeping a stocked van.
    Both,
}

/// Who carries goods to the customer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Carrier {
    /// The shop, in its own vehicle.
    Shop,
    /// The post or a carrier of its own.
    Independent,
}

/// How goods reach the customer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Delivery {
    /// Who carries them.
    pub by: Carrier,
    /// What the carrier takes from the shop; `None` when nothing shows it.
    #[serde(default)]
    pub actual_cost: Option<Cents>,
    /// Whether the charge is divided on the document between what is taxed and what is not.
    #[serde(default)]
    pub divided: bool,
}

/// Facts of a sale that rules ask about.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Facts {
    /// How the charges are stated.
    #[serde(default)]
    pub stated: StatedAs,
    /// Whether the shop's records prove that no material was used.
    #[serde(default)]
    pub no_material_proven: bool,
    /// What came of it.
    #[serde(default)]
    pub outcome: Outcome,
    /// Whether the machine is built in and so part of the house.
    #[serde(default)]
    pub built_in: bool,
    /// Whether this mends damage of a declared disaster in its area.
    #[serde(default)]
    pub disaster: bool,
}

/// Conditions of a rule; all that are given must hold. None given: it always holds.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct When {
    /// The charges are stated so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stated: Option<StatedAs>,
    /// The material is so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub material: Option<Material>,
    /// The work ended so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outcome: Option<Outcome>,
    /// The machine is, or is not, built in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub built_in: Option<bool>,
    /// It is, or is not, damage of a declared disaster.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub disaster: Option<bool>,
    /// Parts are at most this share of parts and labour together; the limit itself is inside.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parts_share_at_most: Option<Percent>,
    /// For a trip: it serves this.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trip_serves: Option<Serves>,
    /// For freight: carried by.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delivered_by: Option<Carrier>,
    /// For freight: divided on the document, or not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delivery_divided: Option<bool>,
    /// For a part: it replaces another under warranty, or does not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub under_warranty: Option<bool>,
}

/// What a rule does with a charge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Treatment {
    /// All of it is taxed.
    Taxed,
    /// None of it is.
    NotTaxed,
    /// It is taxed in the share that parts have in parts and labour.
    ProratedByParts,
    /// What it is above the actual cost is taxed; all of it when nothing shows that cost.
    OverActualCost,
    /// It is taxed whole if any of the goods is.
    FollowsGoods,
    /// It is taxed in the share of the goods that is.
    FollowsGoodsByShare,
}

/// One rule for a kind of charge.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rule {
    /// When it applies.
    #[serde(default)]
    pub when: When,
    /// What follows.
    pub treatment: Treatment,
    /// Why, for the customer and the auditor, such as "separately stated repair labour is exempt".
    pub reason: String,
    /// First day it applies; `None` for always.
    #[serde(default)]
    pub from_on: Option<NaiveDate>,
    /// Last day it applies; `None` for open.
    #[serde(default)]
    pub until_on: Option<NaiveDate>,
    /// Whether a sale decided by it must state parts apart from labour.
    #[serde(default)]
    pub parts_apart: bool,
}

impl Rule {
    /// A rule without conditions.
    #[must_use]
    pub fn always(treatment: Treatment, reason: impl Into<String>) -> Self {
        Self {
            when: When::default(),
            treatment,
            reason: reason.into(),
            from_on: None,
            until_on: None,
            parts_apart: false,
        }
    }

    /// Whether nothing can keep it from applying.
    #[must_use]
    pub fn is_catch_all(&self) -> bool {
        self.when == When::default() && self.from_on.is_none() && self.until_on.is_none()
    }
}

/// A fact of a line that a rule asks for and nobody gave.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LineFact {
    /// What the trip serves.
    TripServes,
    /// How the goods are delivered.
    Delivery,
}

impl fmt::Display for LineFact {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TripServes => "what the trip serves",
            Self::Delivery => "how the goods are delivered",
        })
    }
}

/// Whether a rule's conditions hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Held {
    Yes,
    No,
    /// They hold as far as is known, but this is not.
    Unknown(LineFact),
}

/// Everything a rule may ask about one line of one sale.
#[derive(Debug, Clone, Copy)]
pub(super) struct Case {
    pub(super) on: NaiveDate,
    pub(super) facts: Facts,
    pub(super) material: Material,
    /// Parts as a share of parts and labour: this out of that.
    pub(super) share: (i128, i128),
    pub(super) trip_serves: Option<Serves>,
    pub(super) delivery: Option<Delivery>,
    pub(super) under_warranty: bool,
}

impl Case {
    /// Whether a rule applies here.
    pub(super) fn held_by(&self, rule: &Rule) -> Held {
        let When {
            stated,
            material,
            outcome,
            built_in,
            disaster,
            parts_share_at_most,
            trip_serves,
            delivered_by,
            delivery_divided,
            under_warranty,
        } = &rule.when;
        let known = covers(rule.from_on, rule.until_on, self.on)
            && stated.is_none_or(|wanted| wanted == self.facts.stated)
            && material.is_none_or(|wanted| wanted == self.material)
            && outcome.is_none_or(|wanted| wanted == self.facts.outcome)
            && built_in.is_none_or(|wanted| wanted == self.facts.built_in)
            && disaster.is_none_or(|wanted| wanted == self.facts.disaster)
            && under_warranty.is_none_or(|wanted| wanted == self.under_warranty)
            && parts_share_at_most.is_none_or(|limit| self.share_is_at_most(limit));
        if !known {
            return Held::No;
        }
        let carrier = self.delivery.map(|delivery| delivery.by);
        let divided = self.delivery.map(|delivery| delivery.divided);
        let asked = [
            (asks(*trip_serves, self.trip_serves), LineFact::TripServes),
            (asks(*delivered_by, carrier), LineFact::Delivery),
            (asks(*delivery_divided, divided), LineFact::Delivery),
        ];
        if asked.iter().any(|(met, _)| *met == Some(false)) {
            return Held::No;
        }
        asked
            .iter()
            .find(|(met, _)| met.is_none())
            .map_or(Held::Yes, |(_, fact)| Held::Unknown(*fact))
    }

    /// Compared exactly; a sale without parts and labour has no share of parts.
    fn share_is_at_most(&self, limit: Percent) -> bool {
        let (parts, whole) = self.share;
        let per_hundred = limit.per_hundred();
        let unit = 10_i128.checked_pow(per_hundred.scale()).unwrap_or(1);
        let Some(parts) = parts
            .checked_mul(100)
            .and_then(|parts| parts.checked_mul(unit))
        else {
            return false;
        };
        whole
            .checked_mul(per_hundred.mantissa())
            .is_some_and(|allowed| parts <= allowed)
    }
}

/// Whether a wanted value is the given one; `None` when one is wanted and none given.
fn asks<T: PartialEq>(wanted: Option<T>, given: Option<T>) -> Option<bool> {
    match (wanted, given) {
        (None, _) => Some(true),
        (Some(_), None) => None,
        (Some(wanted), Some(given)) => Some(wanted == given),
    }
}
