//! What a measurement must hold before it is judged: figures in range, and nothing said that its quantity cannot have.

use nameplate_entities::kinds::{Across, Circuit, Quantity};
use nameplate_rules::readings::conductor::{Conductor, Gauge, TemperatureRating};
use rust_decimal::Decimal;

use crate::base::{Checks, ProblemCode};

use super::RecordReading;

/// The largest breaker of a home's branch circuit that is believed.
const BREAKER_AMPS_MAX: i32 = 200;

pub(super) fn figures(checks: &mut Checks, new: &RecordReading) {
    let below_zero_is_wrong = !matches!(new.quantity, Quantity::Temperature | Quantity::Pressure);
    let largest = Decimal::from(1_000_000_000);
    if new.value.abs() > largest || new.value.scale() > 6 {
        checks.refuse(
            ProblemCode::OutOfRange,
            "value",
            format!("{} is too large or has more than six decimals.", new.value),
        );
    } else if below_zero_is_wrong && new.value.is_sign_negative() && !new.value.is_zero() {
        checks.refuse(
            ProblemCode::OutOfRange,
            "value",
            format!(
                "{} is below zero, which this quantity cannot be.",
                new.value
            ),
        );
    }
    let part = new.part.as_ref();
    let ratings = [
        ("part.ratedVolts", part.and_then(|part| part.volts)),
        ("part.ratedWatts", part.and_then(|part| part.watts)),
        ("part.ratedAmps", part.and_then(|part| part.amps)),
        ("supplyVolts", new.supply_volts),
    ];
    for (path, rating) in ratings {
        if let Some(rating) = rating {
            checks.positive_decimal(path, rating);
        }
    }
}

/// Only a voltage is open or under load and lies across something; one across a joint needs a load.
pub(super) fn circuit(checks: &mut Checks, new: &RecordReading) {
    if new.quantity != Quantity::Voltage {
        let said = [
            ("circuit", new.circuit.is_some()),
            ("across", new.across.is_some()),
        ];
        for (path, _) in said.iter().filter(|(_, is_said)| *is_said) {
            let message =
                "Only a voltage is read open or under load, across the supply or a joint.";
            checks.refuse(ProblemCode::Malformed, path, message);
        }
    } else if (new.circuit, new.across) == (Some(Circuit::Open), Some(Across::Joint)) {
        checks.refuse(
            ProblemCode::Malformed,
            "circuit",
            "Without a load nothing flows through a joint and nothing drops across it.",
        );
    }
}

/// The wire of a load current, where its size is told.
pub(super) fn wire(checks: &mut Checks, new: &RecordReading) -> Option<Conductor> {
    let of_circuit = [("wireAwg", new.wire_awg), ("breakerAmps", new.breaker_amps)];
    for (path, _) in of_circuit.iter().filter(|(_, figure)| figure.is_some()) {
        if new.quantity != Quantity::Current {
            let message = "Wire and breaker belong to a load current.";
            checks.refuse(ProblemCode::Malformed, path, message);
        }
    }
    if let Some(amps) = new.breaker_amps
        && !(1..=BREAKER_AMPS_MAX).contains(&amps)
    {
        let message = format!("A breaker is for 1 to {BREAKER_AMPS_MAX} A.");
        checks.refuse(ProblemCode::OutOfRange, "breakerAmps", message);
    }
    let insulation = marking(checks, new, ("insulationC", new.insulation_c));
    let terminals = marking(checks, new, ("terminalsC", new.terminals_c));
    Some(Conductor {
        gauge: gauge(checks, new.wire_awg?)?,
        insulation,
        terminals,
    })
}

fn gauge(checks: &mut Checks, awg: i32) -> Option<Gauge> {
    let gauge = gauge_of(awg);
    if gauge.is_none() {
        let message = "The wire sizes known here are 14, 12, 10, 8 and 6.";
        checks.refuse(ProblemCode::OutOfRange, "wireAwg", message);
    }
    gauge
}

/// A wire size by its number.
pub fn gauge_of(awg: i32) -> Option<Gauge> {
    match awg {
        14 => Some(Gauge::Awg14),
        12 => Some(Gauge::Awg12),
        10 => Some(Gauge::Awg10),
        8 => Some(Gauge::Awg8),
        6 => Some(Gauge::Awg6),
        _ => None,
    }
}

fn marking(
    checks: &mut Checks,
    new: &RecordReading,
    (path, celsius): (&str, Option<i32>),
) -> Option<TemperatureRating> {
    let celsius = celsius?;
    if new.wire_awg.is_none() {
        let message = "A marking belongs to a wire; give its size too.";
        checks.refuse(ProblemCode::Missing, "wireAwg", message);
    }
    let rating = rating_of(celsius);
    if rating.is_none() {
        let message =
            "Wires and terminals are marked for 60, 75 or 90 C; leave out what cannot be read.";
        checks.refuse(ProblemCode::OutOfRange, path, message);
    }
    rating
}

/// What is marked for so many degrees Celsius.
pub fn rating_of(celsius: i32) -> Option<TemperatureRating> {
    match celsius {
        60 => Some(TemperatureRating::C60),
        75 => Some(TemperatureRating::C75),
        90 => Some(TemperatureRating::C90),
        _ => None,
    }
}
