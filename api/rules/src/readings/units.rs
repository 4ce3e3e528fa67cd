//! Quantities that are measured and the units they are written in.
//!
//! It is here so that 16,250 mA and 16.25 A are one reading. What must stay true: each quantity has one base unit in
//! which it is compared, and a unit of another quantity is refused.

use super::{ReadingRefusal, divided, plus, times};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// What was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    Resistance,
    /// Resistance between a live part and the frame, in use to find leakage to ground.
    InsulationResistance,
    /// 1 for a closed path, 0 for an open one.
    Continuity,
    Voltage,
    Current,
    Power,
    Temperature,
    Pressure,
    Capacitance,
}

/// The unit a value was written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    Ohm,
    Kilohm,
    Megohm,
    /// 1 closed, 0 open.
    ClosedPath,
    Millivolt,
    Volt,
    Milliampere,
    Ampere,
    Watt,
    Kilowatt,
    Celsius,
    Fahrenheit,
    Kilopascal,
    Psi,
    InchWaterColumn,
    Microfarad,
}

/// The unit in which a quantity is compared.
#[must_use]
pub fn base_unit(quantity: Quantity) -> Unit {
    match quantity {
        Quantity::Resistance | Quantity::InsulationResistance => Unit::Ohm,
        Quantity::Continuity => Unit::ClosedPath,
        Quantity::Voltage => Unit::Volt,
        Quantity::Current => Unit::Ampere,
        Quantity::Power => Unit::Watt,
        Quantity::Temperature => Unit::Celsius,
        Quantity::Pressure => Unit::Kilopascal,
        Quantity::Capacitance => Unit::Microfarad,
    }
}

/// Whether a unit measures a quantity.
#[must_use]
pub fn measures(unit: Unit, quantity: Quantity) -> bool {
    match quantity {
        Quantity::Resistance | Quantity::InsulationResistance => {
            matches!(unit, Unit::Ohm | Unit::Kilohm | Unit::Megohm)
        }
        Quantity::Continuity => unit == Unit::ClosedPath,
        Quantity::Voltage => matches!(unit, Unit::Volt | Unit::Millivolt),
        Quantity::Current => matches!(unit, Unit::Ampere | Unit::Milliampere),
        Quantity::Power => matches!(unit, Unit::Watt | Unit::Kilowatt),
        Quantity::Temperature => matches!(unit, Unit::Celsius | Unit::Fahrenheit),
        Quantity::Pressure => matches!(unit, Unit::Kilopascal | Unit::Psi | Unit::InchWaterColumn),
        Quantity::Capacitance => unit == Unit::Microfarad,
    }
}

pub(super) fn to_base(value: Decimal, unit: Unit) -> Result<Decimal, ReadingRefusal> {
    match unit {
        Unit::Megohm => times(value, Decimal::from(1_000_000)),
        Unit::Kilohm | Unit::Kilowatt => times(value, Decimal::ONE_THOUSAND),
        Unit::Millivolt | Unit::Milliampere => divided(value, Decimal::ONE_THOUSAND),
        Unit::Fahrenheit => divided(
            times(plus(value, Decimal::from(-32))?, Decimal::from(5))?,
            Decimal::from(9),
        ),
        // Conversion factors of NIST Special Publication 811, appendix B: 6.894757 and 0.2490889 kPa.
        Unit::Psi => times(value, Decimal::new(6_894_757, 6)),
        Unit::InchWaterColumn => times(value, Decimal::new(2_490_889, 7)),
        Unit::Ohm
        | Unit::ClosedPath
        | Unit::Volt
        | Unit::Ampere
        | Unit::Watt
        | Unit::Celsius
        | Unit::Kilopascal
        | Unit::Microfarad => Ok(value),
    }
}
