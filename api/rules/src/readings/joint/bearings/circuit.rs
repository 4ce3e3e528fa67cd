//! The way to the part: is its joint loose, is its wire too small?

use super::words::{amps, loss_words, plain};
use super::{
    BAD_JOINT_VOLTS, Bearing, CIRCUIT_DROP_PERCENT, Cause, Ground, SOUND_JOINT_VOLTS, Speaks,
};
use crate::readings::conductor::{Conductor, ConductorCheck, ConductorVerdict, Duty, Gauge};
use crate::readings::joint::{Burn, Figures, JointFacts, Measure, Wire};
use crate::readings::{ReadingRefusal, divided, times};
use rust_decimal::Decimal;

pub(super) fn loose_joint(
    facts: &JointFacts,
    figures: &Figures,
) -> Result<Bearing, ReadingRefusal> {
    let fit = figures.wire.map(|wire| Fit::of(&wire, facts.duty));
    Ok(by_joint_drop(facts, figures)?
        .or_else(|| by_circuit_drop(facts, figures, fit))
        .or_else(|| by_return(facts, fit))
        .unwrap_or_else(|| joint_unsettled(facts, figures, fit)))
}

/// What the drop over the joint itself says. A small one clears the joint only with the current it was read at.
fn by_joint_drop(facts: &JointFacts, figures: &Figures) -> Result<Option<Bearing>, ReadingRefusal> {
    let (Some(loss), Some(at_full)) = (figures.joint, drop_at_full_load(facts, figures)?) else {
        return Ok(None);
    };
    let brought_up = if at_full > loss.drop_volts {
        format!(
            " At the full current of the part that is {} V.",
            plain(at_full, 3)
        )
    } else {
        String::new()
    };
    let words = format!("{}{brought_up}", loss_words(&loss, "The joint", figures));
    if at_full >= BAD_JOINT_VOLTS {
        let why = format!("{words} From 0.5 V on a joint is bad (common practice).");
        let missing = facts.load_amps.is_none().then_some(Measure::LoadCurrent);
        return Ok(Some(loose(Speaks::For, Ground::Measured, why, missing)));
    }
    if at_full <= SOUND_JOINT_VOLTS && facts.load_amps.is_some() {
        let why = format!("{words} Up to 0.1 V a joint is sound (common practice).");
        return Ok(Some(loose(Speaks::Against, Ground::Measured, why, None)));
    }
    Ok(None)
}

/// What is lost on the whole way points to a joint on it, once the wire is known to be large enough.
fn by_circuit_drop(facts: &JointFacts, figures: &Figures, fit: Option<Fit>) -> Option<Bearing> {
    let loss = figures.circuit?;
    if fit != Some(Fit::Inside) || loss.percent? <= CIRCUIT_DROP_PERCENT {
        return None;
    }
    let why = format!(
        "{} More than 5 % is lost and the wire is large enough, so a joint on the way resists; which one, the drop over \
         each tells. The 5 % are a note in NFPA 70 (210.19(A), 215.2(A)) and no rule.",
        loss_words(&loss, "The circuit", figures)
    );
    Some(loose(
        Speaks::For,
        Ground::Reckoned,
        why,
        drop_missing(facts),
    ))
}

fn by_return(facts: &JointFacts, fit: Option<Fit>) -> Option<Bearing> {
    let points_to_joint = facts.burn == Some(Burn::Returned) && fit == Some(Fit::Inside);
    points_to_joint.then(|| {
        let why = "The burn came back though the load is inside the limit of its wire: that points to the joint. \
            This is an inference and no code rule."
            .to_owned();
        loose(Speaks::For, Ground::Inference, why, drop_missing(facts))
    })
}

fn joint_unsettled(facts: &JointFacts, figures: &Figures, fit: Option<Fit>) -> Bearing {
    let why = if let Some(loss) = figures.joint {
        format!(
            "{} Up to 0.1 V at full current a joint is sound, from 0.5 V on it is bad (common practice); this settles neither.",
            loss_words(&loss, "The joint", figures)
        )
    } else if fit == Some(Fit::Inside) {
        "The load is inside the limit of its wire, so suspect the joint and not the size (an inference, no code rule). \
         Nothing was measured at the joint itself."
            .to_owned()
    } else {
        "Nothing was measured at the joint itself.".to_owned()
    };
    // A drop is asked for together with its current.
    let current_missing = (facts.joint_drop_volts.is_some() && facts.load_amps.is_none())
        .then_some(Measure::LoadCurrent);
    let missing = [
        drop_missing(facts),
        current_missing,
        facts.conductor.is_none().then_some(Measure::WireSize),
        facts.burn.is_none().then_some(Measure::EarlierBurns),
    ];
    let missing = missing.into_iter().flatten();
    loose(Speaks::Unsettled, Ground::Nothing, why, missing)
}

fn loose(
    speaks: Speaks,
    rests_on: Ground,
    why: String,
    missing: impl IntoIterator<Item = Measure>,
) -> Bearing {
    Bearing {
        cause: Cause::LooseJoint,
        speaks,
        rests_on,
        why,
        missing: missing.into_iter().collect(),
    }
}

fn drop_missing(facts: &JointFacts) -> Option<Measure> {
    facts
        .joint_drop_volts
        .is_none()
        .then_some(Measure::JointDrop)
}

/// The drop over the joint brought up to the part's rated current, as one that was read at a small current looks harmless.
fn drop_at_full_load(
    facts: &JointFacts,
    figures: &Figures,
) -> Result<Option<Decimal>, ReadingRefusal> {
    let Some(drop) = facts.joint_drop_volts else {
        return Ok(None);
    };
    match (facts.load_amps, figures.expected) {
        (Some(amps), Some(expected)) if expected.amps > amps => {
            Ok(Some(divided(times(drop, expected.amps)?, amps)?))
        }
        _ => Ok(Some(drop)),
    }
}

/// Whether a load fits its wire, as far as the duty is known.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Fit {
    Inside,
    Over,
    /// Inside for less than three hours, over for more, and nobody said which.
    DutyDecides,
}

impl Fit {
    fn of(wire: &Wire, duty: Option<Duty>) -> Self {
        let over = |check: ConductorCheck| check.verdict == ConductorVerdict::Over;
        match (over(wire.not_continuous), over(wire.continuous), duty) {
            (true, _, _) | (_, true, Some(Duty::Continuous)) => Self::Over,
            (_, true, None) => Self::DutyDecides,
            (false, false, _) | (false, true, Some(Duty::NonContinuous)) => Self::Inside,
        }
    }
}

pub(super) fn undersized_conductor(facts: &JointFacts, figures: &Figures) -> Bearing {
    let tell = |speaks, rests_on, why, missing| Bearing {
        cause: Cause::UndersizedConductor,
        speaks,
        rests_on,
        why,
        missing,
    };
    let (Some(conductor), Some(wire)) = (facts.conductor, figures.wire) else {
        let no_load = figures.load.is_none().then_some(Measure::PlateRating);
        let no_wire = facts.conductor.is_none().then_some(Measure::WireSize);
        let missing = [no_wire, no_load].into_iter().flatten().collect();
        let why = "The size of the wire and its load are not both known.".to_owned();
        return tell(Speaks::Unsettled, Ground::Nothing, why, missing);
    };
    let breaker = breaker_words(facts, &wire, conductor);
    let load = amps(wire.not_continuous.load_amps);
    let is_lasting = facts.duty == Some(Duty::Continuous);
    let source = wire_words(conductor, is_lasting);
    let limits = (
        amps(wire.not_continuous.limit_amps),
        amps(wire.continuous.limit_amps),
    );
    let limit = if is_lasting {
        format!("{} for three hours or more", limits.1)
    } else {
        limits.0.clone()
    };
    match Fit::of(&wire, facts.duty) {
        Fit::Over => {
            let measured = facts.load_amps == Some(wire.not_continuous.load_amps);
            let why = format!("A load of {load} is over the {limit} that {source}.{breaker}");
            let rests_on = if measured {
                Ground::Measured
            } else {
                Ground::Reckoned
            };
            tell(Speaks::For, rests_on, why, Vec::new())
        }
        Fit::Inside => {
            let why = format!("A load of {load} is inside the {limit} that {source}.{breaker}");
            tell(Speaks::Against, Ground::Reckoned, why, Vec::new())
        }
        Fit::DutyDecides => {
            let why = format!(
                "A load of {load} is inside the {} that {source}, but over the {} for three hours or more ({LASTING}).{breaker}",
                limits.0, limits.1
            );
            tell(Speaks::Unsettled, Ground::Nothing, why, vec![Measure::Duty])
        }
    }
}

/// The rule of a load that runs for three hours or more.
const LASTING: &str = "80 % of it, 210.19(A), 210.20(A)";

fn wire_words(conductor: Conductor, is_lasting: bool) -> String {
    let lasting = if is_lasting {
        format!("; for three hours or more {LASTING}")
    } else {
        String::new()
    };
    let unmarked = if conductor.insulation.is_none() || conductor.terminals.is_none() {
        ", as what is unmarked counts as 60 C (110.14(C)(1)(a))"
    } else {
        ""
    };
    format!(
        "{} AWG copper may carry ({}{unmarked}{lasting}; wire inside a machine follows its maker)",
        awg(conductor.gauge),
        conductor.limit_words()
    )
}

fn awg(gauge: Gauge) -> u8 {
    match gauge {
        Gauge::Awg14 => 14,
        Gauge::Awg12 => 12,
        Gauge::Awg10 => 10,
        Gauge::Awg8 => 8,
        Gauge::Awg6 => 6,
    }
}

/// A breaker that is too large explains no burn by itself, but is said.
fn breaker_words(facts: &JointFacts, wire: &Wire, conductor: Conductor) -> String {
    match (facts.breaker_amps, wire.breaker_allowed) {
        (Some(breaker), Some(false)) => format!(
            " A breaker of {breaker} A is more than NFPA 70 (2023) 240.4(D) allows on {} AWG copper, save for its exceptions: \
             have it looked at by a licensed electrician.",
            awg(conductor.gauge)
        ),
        _ => String::new(),
    }
}
