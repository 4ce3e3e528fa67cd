//! Readings: what was measured, what physics lets us expect, and whether the two agree.
//!
//! An expected band is given only where the plate of the part settles it: a resistive element has R = V²/P, draws
//! I = P/V and, at another voltage, gives power by the square. Motors, boards and sensors get no band here. What must
//! stay true: a resistance or continuity reading taken with the part still wired in is never called good or bad,
//! because a parallel path may have been measured. Whether a wire carries its load is in [`conductor`], what
//! burnt a joint in [`joint`].

pub mod conductor;
pub mod joint;
pub mod units;

pub use units::{Quantity, Unit, base_unit, measures};

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use thiserror::Error;
use units::to_base;

/// Whether the part was cut off from the rest of the circuit when it was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Connection {
    /// At least one lead was off.
    LeadOff,
    /// The part was still wired in.
    WiredIn,
}

/// One measurement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reading {
    pub quantity: Quantity,
    pub value: Decimal,
    pub unit: Unit,
    pub connection: Connection,
}

/// What kind of load the part is. Only a resistive one has a band that follows from its plate.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Load {
    Resistive,
    Other,
}

/// The rating of the measured part itself, not of the whole machine: an oven's plate is the sum of several elements.
///
/// Units: volts, watts, amperes. `supply_volts` is what was measured at the machine; without it the rated voltage
/// is assumed for current and power.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlateData {
    pub load: Load,
    pub rated_volts: Option<Decimal>,
    pub rated_watts: Option<Decimal>,
    pub rated_amps: Option<Decimal>,
    pub supply_volts: Option<Decimal>,
}

/// The values between which a reading is as expected; both limits are inside.
///
/// Units: the base unit of the quantity (ohm, volt, ampere, watt; 1 for a closed path). Rounding: none, the limits are
/// exact decimals; use [`Band::shown`] for a screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Band {
    pub low: Decimal,
    pub nominal: Decimal,
    pub high: Decimal,
    pub unit: Unit,
}

impl Band {
    /// The band rounded half away from zero for a screen. Never judge against the rounded one.
    #[must_use]
    pub fn shown(&self, decimals: u32) -> Self {
        Self {
            low: rounded(self.low, decimals),
            nominal: rounded(self.nominal, decimals),
            high: rounded(self.high, decimals),
            unit: self.unit,
        }
    }
}

/// What a reading says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    Inside,
    Below,
    Above,
    /// The plate does not settle what to expect.
    NoBand,
    /// The part was still wired in: another path may have been measured. Take at least one lead off and measure again.
    MayBeParallelPath,
}

/// Why a reading or a rating cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum ReadingRefusal {
    /// A rating must be above zero.
    #[error("the {rating} must be above zero, not {value}")]
    RatingNotPositive {
        rating: &'static str,
        value: Decimal,
    },
    /// A tolerance lies from 0 to below 100 percent.
    #[error("a tolerance lies from 0 to below 100 percent, not at {percent}")]
    ToleranceOutOfRange { percent: Decimal },
    /// The unit does not measure this quantity.
    #[error("{unit:?} is no unit of {quantity:?}")]
    WrongUnit { quantity: Quantity, unit: Unit },
    /// Continuity is 0 or 1.
    #[error("continuity is 1 for closed or 0 for open, not {value}")]
    NotOpenOrClosed { value: Decimal },
    /// Nothing in a home is so cold, so hot or under such a pressure.
    #[error("{0}")]
    Impossible(&'static str),
    /// The figures are too large to calculate with.
    #[error("the figures are too large to calculate with")]
    TooLarge,
}

/// What a measurement of a good part should show, or `None` where physics does not settle it.
///
/// Shape: the tolerance is in percent of the nominal value on either side. Current and power are taken at the measured
/// supply voltage when it is known.
///
/// # Errors
/// `ToleranceOutOfRange`; `RatingNotPositive` for a rating of zero or less; `TooLarge`.
///
/// # Source
/// Ohm's law, as printed on a water-heater manual page (4,500 W at 240 V: 18.75 A, 12.8 ohm); worked/readings.json.
pub fn expected_band(
    quantity: Quantity,
    plate: &PlateData,
    tolerance_percent: Decimal,
) -> Result<Option<Band>, ReadingRefusal> {
    if tolerance_percent < Decimal::ZERO || tolerance_percent >= Decimal::ONE_HUNDRED {
        return Err(ReadingRefusal::ToleranceOutOfRange {
            percent: tolerance_percent,
        });
    }
    plate.check()?;
    match plate.nominal(quantity)? {
        None => Ok(None),
        Some((nominal, Unit::ClosedPath)) => Ok(Some(Band {
            low: nominal,
            nominal,
            high: nominal,
            unit: Unit::ClosedPath,
        })),
        Some((nominal, unit)) => {
            let margin = divided(times(nominal, tolerance_percent)?, Decimal::ONE_HUNDRED)?;
            Ok(Some(Band {
                low: nominal
                    .checked_sub(margin)
                    .ok_or(ReadingRefusal::TooLarge)?,
                nominal,
                high: plus(nominal, margin)?,
                unit,
            }))
        }
    }
}

/// What the reading says against its band. A resistance or continuity reading with the part still wired in is
/// `MayBeParallelPath`, whatever its value.
///
/// # Errors
/// `WrongUnit` if the unit does not measure the quantity, `NotOpenOrClosed` for a continuity value other than 0 and 1,
/// `Impossible`, `TooLarge`.
///
/// # Source
/// Isolating before an ohms reading: common practice, no source.
pub fn judge(reading: &Reading, band: Option<&Band>) -> Result<Verdict, ReadingRefusal> {
    let value = reading.in_base_unit()?;
    possible(reading.quantity, value)?;
    if reading.may_be_parallel() {
        return Ok(Verdict::MayBeParallelPath);
    }
    let Some(band) = band else {
        return Ok(Verdict::NoBand);
    };
    if band.unit != base_unit(reading.quantity) {
        return Err(ReadingRefusal::WrongUnit {
            quantity: reading.quantity,
            unit: band.unit,
        });
    }
    Ok(if value < band.low {
        Verdict::Below
    } else if value > band.high {
        Verdict::Above
    } else {
        Verdict::Inside
    })
}

/// Refuses a temperature or pressure, in its base unit, that nothing in a home has.
///
/// # Source
/// Absolute zero: the SI Brochure, 9th edition (2019), 2.3.1, the Celsius temperature is the kelvin temperature less 273.15.
/// Vacuum, as pressures are read against the air: a standard atmosphere is 101.325 kPa, NIST Special Publication 811,
/// appendix B. The hottest, about a gas flame, and the highest pressure, above any refrigerant's: common practice, no source.
fn possible(quantity: Quantity, value: Decimal) -> Result<(), ReadingRefusal> {
    let (low, high, sentence) = match quantity {
        Quantity::Temperature => (
            Decimal::new(-27_315, 2),
            Decimal::from(2_000),
            "a temperature is between -273.15 and 2,000 degrees Celsius (-459.67 and 3,632 degrees Fahrenheit)",
        ),
        Quantity::Pressure => (
            Decimal::new(-101_325, 3),
            Decimal::from(20_000),
            "a pressure is between -101.325 and 20,000 kPa against the air",
        ),
        _ => return Ok(()),
    };
    if (low..=high).contains(&value) {
        Ok(())
    } else {
        Err(ReadingRefusal::Impossible(sentence))
    }
}

/// Power of a resistive part at another voltage than its rated one, in watts: P x (V / rated V)².
///
/// Rounding: none before the one division.
///
/// # Errors
/// `RatingNotPositive` for a rating or voltage of zero or less; `TooLarge`.
///
/// # Source
/// Ohm's law; a 240 V, 4,500 W element on 208 V gives 3,380 W at 16.25 A.
pub fn watts_at(rating: ElementRating, applied_volts: Decimal) -> Result<Decimal, ReadingRefusal> {
    rating.check()?;
    positive("applied voltage", applied_volts)?;
    let watts_volts_squared = times(rating.watts, times(applied_volts, applied_volts)?)?;
    divided(watts_volts_squared, times(rating.volts, rating.volts)?)
}

/// Resistance of a resistive part in ohm: V² / P. It does not change with the voltage applied.
///
/// # Errors
/// `RatingNotPositive`, `TooLarge`.
///
/// # Source
/// Ohm's law; worked/readings.json.
pub fn ohms_of(rating: ElementRating) -> Result<Decimal, ReadingRefusal> {
    rating.check()?;
    divided(times(rating.volts, rating.volts)?, rating.watts)
}

/// Current of a resistive part in amperes at its rated voltage: P / V.
///
/// # Errors
/// `RatingNotPositive`, `TooLarge`.
///
/// # Source
/// Ohm's law; worked/readings.json.
pub fn amps_of(rating: ElementRating) -> Result<Decimal, ReadingRefusal> {
    rating.check()?;
    divided(rating.watts, rating.volts)
}

/// Rated volts and watts of one resistive part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ElementRating {
    pub volts: Decimal,
    pub watts: Decimal,
}

impl ElementRating {
    fn check(self) -> Result<(), ReadingRefusal> {
        positive("rated voltage", self.volts)?;
        positive("rated power", self.watts)
    }
}

impl Reading {
    /// The value in the base unit of its quantity.
    ///
    /// # Errors
    /// `WrongUnit`, `NotOpenOrClosed`, `TooLarge`.
    pub fn in_base_unit(&self) -> Result<Decimal, ReadingRefusal> {
        if !measures(self.unit, self.quantity) {
            return Err(ReadingRefusal::WrongUnit {
                quantity: self.quantity,
                unit: self.unit,
            });
        }
        if self.quantity == Quantity::Continuity
            && self.value != Decimal::ZERO
            && self.value != Decimal::ONE
        {
            return Err(ReadingRefusal::NotOpenOrClosed { value: self.value });
        }
        to_base(self.value, self.unit)
    }

    fn may_be_parallel(&self) -> bool {
        let ohms_test = matches!(
            self.quantity,
            Quantity::Resistance | Quantity::InsulationResistance | Quantity::Continuity
        );
        ohms_test && self.connection == Connection::WiredIn
    }
}

impl PlateData {
    fn check(&self) -> Result<(), ReadingRefusal> {
        let ratings = [
            ("rated voltage", self.rated_volts),
            ("rated power", self.rated_watts),
            ("rated current", self.rated_amps),
            ("supply voltage", self.supply_volts),
        ];
        ratings
            .into_iter()
            .filter_map(|(name, value)| value.map(|v| (name, v)))
            .try_for_each(|(name, v)| positive(name, v))
    }

    /// Nominal value and unit of a quantity, where the plate settles it.
    fn nominal(&self, quantity: Quantity) -> Result<Option<(Decimal, Unit)>, ReadingRefusal> {
        if quantity == Quantity::Voltage {
            return Ok(self.rated_volts.map(|volts| (volts, Unit::Volt)));
        }
        if self.load == Load::Other {
            return Ok(None);
        }
        if quantity == Quantity::Continuity {
            return Ok(Some((Decimal::ONE, Unit::ClosedPath)));
        }
        let Some(rating) = self.element_rating()? else {
            return Ok(None);
        };
        let volts = self.supply_volts.unwrap_or(rating.volts);
        Ok(match quantity {
            Quantity::Resistance => Some((ohms_of(rating)?, Unit::Ohm)),
            Quantity::Power => Some((watts_at(rating, volts)?, Unit::Watt)),
            Quantity::Current => Some((divided(watts_at(rating, volts)?, volts)?, Unit::Ampere)),
            _ => None,
        })
    }

    /// Two of volts, watts and amperes give the third.
    fn element_rating(&self) -> Result<Option<ElementRating>, ReadingRefusal> {
        Ok(
            match (self.rated_volts, self.rated_watts, self.rated_amps) {
                (Some(volts), Some(watts), _) => Some(ElementRating { volts, watts }),
                (Some(volts), None, Some(amps)) => Some(ElementRating {
                    volts,
                    watts: times(volts, amps)?,
                }),
                (None, Some(watts), Some(amps)) => Some(ElementRating {
                    volts: divided(watts, amps)?,
                    watts,
                }),
                _ => None,
            },
        )
    }
}

fn positive(rating: &'static str, value: Decimal) -> Result<(), ReadingRefusal> {
    if value > Decimal::ZERO {
        Ok(())
    } else {
        Err(ReadingRefusal::RatingNotPositive { rating, value })
    }
}

fn rounded(value: Decimal, decimals: u32) -> Decimal {
    value.round_dp_with_strategy(
        decimals,
        rust_decimal::RoundingStrategy::MidpointAwayFromZero,
    )
}

fn times(a: Decimal, b: Decimal) -> Result<Decimal, ReadingRefusal> {
    a.checked_mul(b).ok_or(ReadingRefusal::TooLarge)
}

fn divided(a: Decimal, b: Decimal) -> Result<Decimal, ReadingRefusal> {
    a.checked_div(b).ok_or(ReadingRefusal::TooLarge)
}

fn plus(a: Decimal, b: Decimal) -> Result<Decimal, ReadingRefusal> {
    a.checked_add(b).ok_or(ReadingRefusal::TooLarge)
}

#[cfg(test)]
mod tests;
