//! How each of the five causes of a burnt joint is weighed.
//!
//! A bearing says for, against or unsettled, why, with the figures, and what would settle more. What must stay true:
//! it rests on facts that are there; a fact that is missing is asked for and never counted either way; what is
//! the shop's inference is called one and never passed for a code rule.

mod circuit;
mod load;
mod words;

use super::measures::Measure;
use super::{Figures, JointFacts};
use crate::readings::ReadingRefusal;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::cmp::Reverse;

/// From this drop at full current on, in volts, a joint is bad. Common practice, no source.
pub const BAD_JOINT_VOLTS: Decimal = Decimal::from_parts(5, 0, 0, false, 1);

/// Up to this drop at full current, in volts, a joint is sound. Common practice, no source.
pub const SOUND_JOINT_VOLTS: Decimal = Decimal::from_parts(1, 0, 0, false, 1);

/// Above this loss between supply and machine, in percent, something in the circuit resists too much. NFPA 70 (2023)
/// 210.19(A) Informational Note 4 and 215.2(A) Informational Note 2 name 5 % for feeder and branch circuit together and
/// 3 % for one of them; these are notes for good operation and no rules (90.5(C)).
pub const CIRCUIT_DROP_PERCENT: Decimal = Decimal::from_parts(5, 0, 0, false, 0);

/// Supply above this share of its nominal voltage, in percent, is high: 126 V of 120, 252 V of 240.
/// ANSI C84.1, service voltage, range A, from memory.
pub const HIGH_SUPPLY_PERCENT: Decimal = Decimal::from_parts(105, 0, 0, false, 0);

/// Supply below this share of its nominal voltage, in percent, is low: 114 V of 120, 228 V of 240. Same source.
pub const LOW_SUPPLY_PERCENT: Decimal = Decimal::from_parts(95, 0, 0, false, 0);

/// How far a sound part may be from its plate, in percent either way. Common practice, no source.
pub const PART_TOLERANCE_PERCENT: Decimal = Decimal::from_parts(10, 0, 0, false, 0);

/// What may burn a joint.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// Loose, worn, wrong connector, mixed metals.
    LooseJoint,
    UndersizedConductor,
    /// More flows than the part's plate or the breaker accounts for.
    Overload,
    HighSupply,
    /// Heat is not carried off.
    BlockedAirflow,
}

/// What the facts say about a cause.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Speaks {
    For,
    Against,
    Unsettled,
}

/// What a bearing rests on; ordered from weak to strong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ground {
    /// Nothing that is known.
    Nothing,
    /// The shop's own conclusion; no code says so.
    Inference,
    /// Reckoned from plate, table and readings.
    Reckoned,
    /// Measured or seen.
    Measured,
}

/// One cause, what speaks for or against it, and what would settle more.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bearing {
    pub cause: Cause,
    pub speaks: Speaks,
    pub rests_on: Ground,
    /// Plain words with the figures.
    pub why: String,
    pub missing: Vec<Measure>,
}

/// Weighs all five causes: what speaks for a cause first, then against, then what is not settled; the better founded first.
pub(super) fn weigh(facts: &JointFacts, figures: &Figures) -> Result<Vec<Bearing>, ReadingRefusal> {
    let mut bearings = vec![
        circuit::loose_joint(facts, figures)?,
        circuit::undersized_conductor(facts, figures),
        load::overload(facts, figures)?,
        load::high_supply(facts)?,
        load::blocked_airflow(facts),
    ];
    bearings.sort_by_key(|bearing| (bearing.speaks, Reverse(bearing.rests_on)));
    Ok(bearings)
}

/// One fact that speaks.
struct Finding {
    speaks: Speaks,
    rests_on: Ground,
    why: String,
}

impl Finding {
    fn speaking_for(rests_on: Ground, why: String) -> Self {
        Self {
            speaks: Speaks::For,
            rests_on,
            why,
        }
    }

    fn speaking_against(rests_on: Ground, why: String) -> Self {
        Self {
            speaks: Speaks::Against,
            rests_on,
            why,
        }
    }
}

impl Bearing {
    /// What speaks for a cause outweighs what speaks against it; all of it is said.
    fn of(cause: Cause, findings: Vec<Finding>, nothing: &str, missing: Vec<Measure>) -> Self {
        let speaks = findings.iter().map(|finding| finding.speaks).min();
        let Some(speaks) = speaks else {
            return Self {
                cause,
                speaks: Speaks::Unsettled,
                rests_on: Ground::Nothing,
                why: nothing.to_owned(),
                missing,
            };
        };
        let mut told = findings;
        told.sort_by_key(|finding| (finding.speaks, Reverse(finding.rests_on)));
        Self {
            cause,
            speaks,
            rests_on: told
                .first()
                .map_or(Ground::Nothing, |finding| finding.rests_on),
            why: told
                .iter()
                .map(|finding| finding.why.as_str())
                .collect::<Vec<_>>()
                .join(" "),
            missing,
        }
    }
}
