//! Units as a column keeps them and as people read them.

use nameplate_entities::kinds::Quantity;
use nameplate_entities::reading;
use nameplate_rules::readings::{self, Connection, Unit};
use rust_decimal::Decimal;

/// Every unit with its word in the column and its sign for people.
const UNITS: [(Unit, &str, &str); 16] = [
    (Unit::Ohm, "ohm", "ohm"),
    (Unit::Kilohm, "kilohm", "kilohm"),
    (Unit::Megohm, "megohm", "megohm"),
    (Unit::ClosedPath, "closed_path", "(1 closed, 0 open)"),
    (Unit::Millivolt, "millivolt", "mV"),
    (Unit::Volt, "volt", "V"),
    (Unit::Milliampere, "milliampere", "mA"),
    (Unit::Ampere, "ampere", "A"),
    (Unit::Watt, "watt", "W"),
    (Unit::Kilowatt, "kilowatt", "kW"),
    (Unit::Celsius, "celsius", "°C"),
    (Unit::Fahrenheit, "fahrenheit", "°F"),
    (Unit::Kilopascal, "kilopascal", "kPa"),
    (Unit::Psi, "psi", "psi"),
    (Unit::InchWaterColumn, "inch_water_column", "in WC"),
    (Unit::Microfarad, "microfarad", "µF"),
];

/// The word a column holds for a unit.
pub fn key(unit: Unit) -> &'static str {
    entry(unit).map_or("", |(_, key, _)| key)
}

/// The sign people read.
pub fn sign(unit: Unit) -> &'static str {
    entry(unit).map_or("", |(_, _, sign)| sign)
}

fn entry(unit: Unit) -> Option<(Unit, &'static str, &'static str)> {
    UNITS.into_iter().find(|(known, _, _)| *known == unit)
}

/// The unit behind a column's word.
pub fn of_key(key: &str) -> Option<Unit> {
    UNITS
        .into_iter()
        .find(|(_, known, _)| *known == key)
        .map(|(unit, _, _)| unit)
}

/// The sign of the unit that a reading was written in.
pub fn sign_of(row: &reading::Model) -> &'static str {
    of_key(&row.unit).map_or("", sign)
}

/// A reading in the unit in which its quantity is compared; none for one that cannot be.
pub fn value_in_base_unit(row: &reading::Model) -> Option<Decimal> {
    let read = readings::Reading {
        quantity: rule_of(row.quantity),
        value: row.value.0,
        unit: of_key(&row.unit)?,
        connection: Connection::LeadOff,
    };
    read.in_base_unit().ok()
}

/// The quantity as the rules name it.
pub fn rule_of(quantity: Quantity) -> readings::Quantity {
    match quantity {
        Quantity::Resistance => readings::Quantity::Resistance,
        Quantity::InsulationResistance => readings::Quantity::InsulationResistance,
        Quantity::Continuity => readings::Quantity::Continuity,
        Quantity::Voltage => readings::Quantity::Voltage,
        Quantity::Current => readings::Quantity::Current,
        Quantity::Power => readings::Quantity::Power,
        Quantity::Temperature => readings::Quantity::Temperature,
        Quantity::Pressure => readings::Quantity::Pressure,
        Quantity::Capacitance => readings::Quantity::Capacitance,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_unit_is_read_back_from_its_word() {
        for (unit, word, _) in UNITS {
            assert_eq!(key(unit), word);
            assert_eq!(of_key(word), Some(unit));
        }
    }
}
