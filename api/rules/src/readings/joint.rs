//! What burnt a terminal: the readings and the plate, held against five causes.
//!
//! A joint burns because it is loose, because its wire is too small, because too much flows, because the supply is
//! too high, or because heat is not carried off. Physics settles only part of that: Ohm's law gives what the part
//! should show, the drop at a known current gives resistance and heat, a table gives what the wire may carry. What
//! must stay true: what was not measured speaks neither for nor against a cause; at the same current a higher drop
//! never makes a loose joint less likely; no limit here is permission, and nothing here asks anybody to work on a
//! circuit that is on who is not qualified and equipped for it ([`measures`]). How each cause is weighed is in [`bearings`].

pub mod bearings;
pub mod measures;

pub use bearings::{Bearing, Cause, Speaks};
pub use measures::{Measure, UNDER_LOAD};

use super::conductor::{Conductor, Duty, conductor_check, overcurrent_allowed};
use super::conductor::{ConductorCheck, Metal, ampacity_amps};
use super::{ElementRating, ReadingRefusal, amps_of, divided, ohms_of, positive, times, watts_at};
use crate::cautions::Caution;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// What is known of a burnt joint and of the part it feeds. Everything may be missing.
///
/// Units: volts, watts, ohm, amperes. The part is the one fed through the joint; a dryer's heater, not the dryer, where
/// the joint is the heater's own. Ohm's law holds for resistive parts only: for a motor or a board leave its watts and
/// ohms out, so that nothing is expected of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct JointFacts {
    pub rated_volts: Option<Decimal>,
    pub rated_watts: Option<Decimal>,
    /// Resistance of the part with at least one lead off.
    pub ohms_lead_off: Option<Decimal>,
    /// Supply at the machine with nothing running.
    pub open_volts: Option<Decimal>,
    /// Supply at the same points with the part running.
    pub loaded_volts: Option<Decimal>,
    /// The newest supply voltage, where it need not be of the call of the voltages above: by it alone is told whether the
    /// supply is high. Without it the supply under load is taken, or else without.
    pub newest_supply: Option<SupplyVolts>,
    /// Voltage from one side of the joint to the other with the part running.
    pub joint_drop_volts: Option<Decimal>,
    /// Current through the joint with the part running.
    pub load_amps: Option<Decimal>,
    pub conductor: Option<Conductor>,
    pub duty: Option<Duty>,
    pub breaker_amps: Option<u32>,
    pub air_path: Option<AirPath>,
    pub back_pressure: Option<BackPressure>,
    pub burn: Option<Burn>,
}

/// A supply voltage that was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SupplyVolts {
    pub volts: Decimal,
    pub under_load: bool,
}

/// How the way of the air was found: vent, duct, outlet, fan or coil.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AirPath {
    Clear,
    Restricted,
    Blocked,
}

/// Pressure in the exhaust, in kilopascal (a reading of [`Quantity::Pressure`](super::Quantity::Pressure)), against the
/// most its maker allows. Makers differ (0.3 and 0.75 inch of water
/// column stand in manuals of two dryers), so there is no figure of ours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct BackPressure {
    pub kilopascal: Decimal,
    pub maker_limit_kilopascal: Option<Decimal>,
}

/// Whether this joint burnt before.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Burn {
    First,
    /// It was repaired and burnt again.
    Returned,
}

/// Why the facts cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum JointRefusal {
    /// A figure cannot be what it claims, or is too large to calculate with.
    #[error(transparent)]
    Reading(#[from] ReadingRefusal),
    /// A drop or pressure below zero.
    #[error("the {what} cannot be below zero, as {value} is")]
    BelowZero { what: &'static str, value: Decimal },
    /// More is lost over the joint than the supply has.
    #[error("the drop over the joint ({drop} V) is larger than the supply ({supply} V)")]
    DropAboveSupply { drop: Decimal, supply: Decimal },
}

/// What the facts come to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct JointReport {
    /// What the plate lets expect at the rated voltage.
    pub expected: Option<Expected>,
    /// What the part takes at the supply that was measured, under load if that is known.
    pub at_supply: Option<AtSupply>,
    pub load: Option<LoadCurrent>,
    pub wire: Option<Wire>,
    /// What is lost between supply and part: all wires and joints of the circuit together.
    pub circuit: Option<Loss>,
    /// What is lost over the burnt joint alone.
    pub joint: Option<Loss>,
    /// All five causes, the most telling first.
    pub bearings: Vec<Bearing>,
    /// To show beside all of it.
    pub cautions: Vec<Caution>,
}

/// Resistance and current of a resistive part by its plate.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Expected {
    pub ohms: Decimal,
    pub amps: Decimal,
}

/// A resistive part at the measured supply: current by Ohm's law, power by the square of the voltage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct AtSupply {
    pub volts: Decimal,
    pub amps: Decimal,
    pub watts: Decimal,
    /// Of the rated power.
    pub percent: Decimal,
}

/// The current that the rest is reckoned with, in amperes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LoadCurrent {
    pub amps: Decimal,
    pub by: CurrentBy,
}

/// Where a current comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CurrentBy {
    Measured,
    /// Reckoned from the plate at the measured supply, or at the rated voltage.
    Plate,
}

/// The wire against its load.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Wire {
    /// What the table allows in the column that counts.
    pub ampacity_amps: u32,
    /// The load against the limit if it runs for less than three hours.
    pub not_continuous: ConductorCheck,
    /// The load against 80 % of the limit, for three hours or more.
    pub continuous: ConductorCheck,
    /// Whether the breaker is no larger than the rule for small wires allows; `None` without a breaker's rating.
    pub breaker_allowed: Option<bool>,
}

/// A drop and what it comes to at the load current: R = V / I and heat = I² x R, exact.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Loss {
    pub drop_volts: Decimal,
    /// Of the supply without load; `None` where that is not known.
    pub percent: Option<Decimal>,
    /// Apparent resistance; `None` without a current.
    pub ohms: Option<Decimal>,
    pub watts: Option<Decimal>,
}

/// Holds the facts against each of the five causes.
///
/// Shape: facts to figures and five bearings, the most telling first. Rounding: none in the figures; words are rounded
/// to two decimals. A pair of supply readings that rises under load gives no drop, as its halves do not belong together.
///
/// # Errors
/// `JointRefusal`: a rating, voltage, current, resistance or limit of zero or less, a drop or pressure below zero, a
/// drop larger than the supply, figures too large to calculate with.
///
/// # Source
/// Ohm's law and I²R; NFPA 70 (2023) Table 310.16, 110.14(C)(1)(a), 210.19, 210.20, 240.4(D); the limits of each cause
/// stand in [`bearings`].
///
/// # Example
/// ```
/// use nameplate_rules::readings::joint::{Cause, JointFacts, Speaks, examine};
/// let facts = JointFacts {
///     joint_drop_volts: Some("1.2".parse()?),
///     load_amps: Some("18.75".parse()?),
///     ..JointFacts::default()
/// };
/// let report = examine(&facts)?;
/// let most_telling = report.bearings.first().map(|bearing| (bearing.cause, bearing.speaks));
/// assert_eq!(most_telling, Some((Cause::LooseJoint, Speaks::For)));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn examine(facts: &JointFacts) -> Result<JointReport, JointRefusal> {
    facts.check()?;
    let figures = Figures::of(facts)?;
    Ok(JointReport {
        bearings: bearings::weigh(facts, &figures)?,
        expected: figures.expected,
        at_supply: figures.at_supply,
        load: figures.load,
        wire: figures.wire,
        circuit: figures.circuit,
        joint: figures.joint,
        cautions: facts.cautions(),
    })
}

/// All that is reckoned before anything is weighed.
struct Figures {
    rating: Option<ElementRating>,
    expected: Option<Expected>,
    at_supply: Option<AtSupply>,
    load: Option<LoadCurrent>,
    wire: Option<Wire>,
    circuit: Option<Loss>,
    joint: Option<Loss>,
}

impl Figures {
    fn of(facts: &JointFacts) -> Result<Self, ReadingRefusal> {
        let rating = facts.rating();
        let expected = rating.map(Expected::of).transpose()?;
        let at_supply = match (rating, facts.loaded_volts.or(facts.open_volts)) {
            (Some(rating), Some(volts)) => Some(AtSupply::of(rating, volts)?),
            _ => None,
        };
        let by_plate = at_supply
            .map(|at| at.amps)
            .or(expected.map(|expected| expected.amps));
        let load = LoadCurrent::of(facts.load_amps, by_plate);
        let circuit_drop = facts
            .open_volts
            .zip(facts.loaded_volts)
            .and_then(|(open, loaded)| open.checked_sub(loaded))
            .filter(|drop| *drop >= Decimal::ZERO);
        let loss = |drop: Option<Decimal>| {
            drop.map(|drop| Loss::of(drop, facts.open_volts, load))
                .transpose()
        };
        Ok(Self {
            rating,
            expected,
            at_supply,
            load,
            wire: Wire::of(facts, expected)?,
            circuit: loss(circuit_drop)?,
            joint: loss(facts.joint_drop_volts)?,
        })
    }
}

impl Expected {
    fn of(rating: ElementRating) -> Result<Self, ReadingRefusal> {
        Ok(Self {
            ohms: ohms_of(rating)?,
            amps: amps_of(rating)?,
        })
    }
}

impl AtSupply {
    fn of(rating: ElementRating, volts: Decimal) -> Result<Self, ReadingRefusal> {
        let watts = watts_at(rating, volts)?;
        Ok(Self {
            volts,
            amps: divided(watts, volts)?,
            watts,
            percent: percent_of(watts, rating.watts)?,
        })
    }
}

impl LoadCurrent {
    fn of(measured: Option<Decimal>, by_plate: Option<Decimal>) -> Option<Self> {
        let told = |by| move |amps| Self { amps, by };
        measured
            .map(told(CurrentBy::Measured))
            .or(by_plate.map(told(CurrentBy::Plate)))
    }
}

impl Wire {
    /// The load is what was measured or what the plate says at its rated voltage, the larger.
    fn of(facts: &JointFacts, expected: Option<Expected>) -> Result<Option<Self>, ReadingRefusal> {
        let by_plate = expected.map(|expected| expected.amps);
        let (Some(conductor), Some(amps)) = (facts.conductor, facts.load_amps.max(by_plate)) else {
            return Ok(None);
        };
        Ok(Some(Self {
            ampacity_amps: ampacity_amps(conductor.gauge, conductor.usable_column()),
            not_continuous: conductor_check(amps, conductor, Duty::NonContinuous)?,
            continuous: conductor_check(amps, conductor, Duty::Continuous)?,
            breaker_allowed: facts
                .breaker_amps
                .map(|breaker| overcurrent_allowed(Metal::Copper, conductor.gauge, breaker)),
        }))
    }
}

impl Loss {
    fn of(
        drop_volts: Decimal,
        open_volts: Option<Decimal>,
        load: Option<LoadCurrent>,
    ) -> Result<Self, ReadingRefusal> {
        let amps = load.map(|load| load.amps);
        Ok(Self {
            drop_volts,
            percent: open_volts
                .map(|open| percent_of(drop_volts, open))
                .transpose()?,
            ohms: amps.map(|amps| divided(drop_volts, amps)).transpose()?,
            // I² x V / I, so that no division comes in between.
            watts: amps.map(|amps| times(drop_volts, amps)).transpose()?,
        })
    }
}

impl JointFacts {
    fn check(&self) -> Result<(), JointRefusal> {
        let limit = self
            .back_pressure
            .and_then(|pressure| pressure.maker_limit_kilopascal);
        for (what, value) in [
            ("rated voltage", self.rated_volts),
            ("rated power", self.rated_watts),
            ("resistance", self.ohms_lead_off),
            ("supply voltage without load", self.open_volts),
            ("supply voltage under load", self.loaded_volts),
            ("load current", self.load_amps),
            ("breaker rating", self.breaker_amps.map(Decimal::from)),
            ("maker's limit of pressure", limit),
        ] {
            value.map_or(Ok(()), |value| positive(what, value))?;
        }
        let pressure = self.back_pressure.map(|pressure| pressure.kilopascal);
        for (what, value) in [
            ("drop over the joint", self.joint_drop_volts),
            ("pressure in the exhaust", pressure),
        ] {
            if let Some(value) = value.filter(|value| *value < Decimal::ZERO) {
                return Err(JointRefusal::BelowZero { what, value });
            }
        }
        let supply = self.open_volts.max(self.loaded_volts);
        match self.joint_drop_volts.zip(supply) {
            Some((drop, supply)) if drop > supply => {
                Err(JointRefusal::DropAboveSupply { drop, supply })
            }
            _ => Ok(()),
        }
    }

    fn rating(&self) -> Option<ElementRating> {
        let (volts, watts) = self.rated_volts.zip(self.rated_watts)?;
        Some(ElementRating { volts, watts })
    }

    fn cautions(&self) -> Vec<Caution> {
        let mut cautions = vec![
            Caution::IsolateAndProveDead,
            Caution::OverheatingCause,
            Caution::HeatedSplice,
        ];
        if self.air_path.is_some_and(|path| path != AirPath::Clear) || self.back_pressure.is_some()
        {
            cautions.push(Caution::DryerLint);
        }
        cautions
    }
}

fn percent_of(part: Decimal, whole: Decimal) -> Result<Decimal, ReadingRefusal> {
    divided(times(part, Decimal::ONE_HUNDRED)?, whole)
}

#[cfg(test)]
mod tests;
