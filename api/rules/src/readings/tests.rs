use super::*;
use crate::worked::rows;
use proptest::prelude::*;

#[derive(Deserialize)]
struct Element {
    volts: Decimal,
    watts: Decimal,
    applied_volts: Decimal,
}

/// `None` where the source prints no such figure.
#[derive(Deserialize)]
struct Figures {
    decimals: u32,
    ohms: Option<Decimal>,
    amps: Option<Decimal>,
    watts: Option<Decimal>,
}

fn dec(text: &str) -> Decimal {
    text.parse().expect("a decimal")
}

fn water_heater() -> PlateData {
    PlateData {
        load: Load::Resistive,
        rated_volts: Some(dec("240")),
        rated_watts: Some(dec("4500")),
        rated_amps: None,
        supply_volts: None,
    }
}

fn ohms(value: &str, connection: Connection) -> Reading {
    Reading {
        quantity: Quantity::Resistance,
        value: dec(value),
        unit: Unit::Ohm,
        connection,
    }
}

/// Ohm's law and power at a lower voltage, from the pages named in each row.
#[test]
fn worked_elements_have_their_ohms_amps_and_watts() {
    for row in rows::<Element, Figures>(include_str!("../../../../fixtures/worked/readings.json")) {
        let rating = ElementRating {
            volts: row.input.volts,
            watts: row.input.watts,
        };
        let watts = watts_at(rating, row.input.applied_volts).expect("watts");
        let amps = watts.checked_div(row.input.applied_volts).expect("amps");
        let figures = [
            (row.expected.ohms, ohms_of(rating).expect("ohms")),
            (row.expected.amps, amps),
            (row.expected.watts, watts),
        ];
        for (expected, got) in figures {
            assert!(
                expected.is_none_or(|e| e == rounded(got, row.expected.decimals)),
                "{expected:?} but {got}: {}",
                row.source
            );
        }
    }
}

/// Percentages printed for a 240 V rating: 208 V 75, 230 V 92, 120 V 25, 277 V 133.
#[test]
fn power_at_other_voltages_is_the_printed_share_of_the_rating() {
    let rating = ElementRating {
        volts: dec("240"),
        watts: dec("100"),
    };
    for (volts, percent) in [("208", "75"), ("230", "92"), ("120", "25"), ("277", "133")] {
        assert_eq!(
            rounded(watts_at(rating, dec(volts)).expect("watts"), 0),
            dec(percent)
        );
    }
}

#[test]
fn a_ten_percent_band_around_12_8_ohm_has_its_limits_inside() {
    let band = expected_band(Quantity::Resistance, &water_heater(), dec("10"))
        .expect("a band")
        .expect("a band");
    assert_eq!(
        (band.low, band.nominal, band.high),
        (dec("11.52"), dec("12.8"), dec("14.08"))
    );
    for (value, verdict) in [
        ("11.51", Verdict::Below),
        ("11.52", Verdict::Inside),
        ("14.08", Verdict::Inside),
        ("14.09", Verdict::Above),
    ] {
        assert_eq!(
            judge(&ohms(value, Connection::LeadOff), Some(&band)),
            Ok(verdict)
        );
    }
}

#[test]
fn an_ohms_reading_of_a_part_still_wired_in_may_be_a_parallel_path_whatever_it_shows() {
    let band = expected_band(Quantity::Resistance, &water_heater(), dec("10")).expect("a band");
    assert_eq!(
        judge(&ohms("12.8", Connection::WiredIn), band.as_ref()),
        Ok(Verdict::MayBeParallelPath)
    );
    assert_eq!(
        judge(&ohms("12.8", Connection::WiredIn), None),
        Ok(Verdict::MayBeParallelPath)
    );
    let closed = Reading {
        quantity: Quantity::Continuity,
        value: Decimal::ONE,
        unit: Unit::ClosedPath,
        connection: Connection::WiredIn,
    };
    assert_eq!(judge(&closed, None), Ok(Verdict::MayBeParallelPath));
}

#[test]
fn a_voltage_reading_is_judged_with_the_part_wired_in() {
    let band = expected_band(Quantity::Voltage, &water_heater(), dec("5")).expect("a band");
    let reading = Reading {
        quantity: Quantity::Voltage,
        value: dec("208"),
        unit: Unit::Volt,
        connection: Connection::WiredIn,
    };
    assert_eq!(judge(&reading, band.as_ref()), Ok(Verdict::Below));
}

#[test]
fn current_is_expected_at_the_measured_supply_voltage() {
    let plate = PlateData {
        supply_volts: Some(dec("208")),
        ..water_heater()
    };
    let band = expected_band(Quantity::Current, &plate, dec("10"))
        .expect("a band")
        .expect("a band");
    assert_eq!(band.shown(2).nominal, dec("16.25"));
    let reading = Reading {
        quantity: Quantity::Current,
        value: dec("16250"),
        unit: Unit::Milliampere,
        connection: Connection::WiredIn,
    };
    assert_eq!(judge(&reading, Some(&band)), Ok(Verdict::Inside));
}

#[test]
fn an_open_element_fails_its_continuity_test() {
    let band = expected_band(Quantity::Continuity, &water_heater(), dec("10")).expect("a band");
    let reading = |value: &str| Reading {
        quantity: Quantity::Continuity,
        value: dec(value),
        unit: Unit::ClosedPath,
        connection: Connection::LeadOff,
    };
    assert_eq!(judge(&reading("0"), band.as_ref()), Ok(Verdict::Below));
    assert_eq!(judge(&reading("1"), band.as_ref()), Ok(Verdict::Inside));
    assert_eq!(
        judge(&reading("2"), band.as_ref()),
        Err(ReadingRefusal::NotOpenOrClosed { value: dec("2") })
    );
}

#[test]
fn a_motor_and_a_plate_without_figures_have_no_band() {
    let motor = PlateData {
        load: Load::Other,
        ..water_heater()
    };
    assert_eq!(
        expected_band(Quantity::Resistance, &motor, dec("10")),
        Ok(None)
    );
    let bare = PlateData {
        rated_watts: None,
        ..water_heater()
    };
    assert_eq!(
        expected_band(Quantity::Resistance, &bare, dec("10")),
        Ok(None)
    );
    assert_eq!(
        judge(&ohms("12.8", Connection::LeadOff), None),
        Ok(Verdict::NoBand)
    );
}

#[test]
fn volts_and_amps_alone_give_the_same_resistance() {
    let plate = PlateData {
        rated_watts: None,
        rated_amps: Some(dec("18.75")),
        ..water_heater()
    };
    let band = expected_band(Quantity::Resistance, &plate, dec("10"))
        .expect("a band")
        .expect("a band");
    assert_eq!(band.nominal, dec("12.8"));
}

#[test]
fn ratings_of_zero_wild_tolerances_and_wrong_units_are_refused() {
    let dead = PlateData {
        rated_watts: Some(Decimal::ZERO),
        ..water_heater()
    };
    assert!(matches!(
        expected_band(Quantity::Power, &dead, dec("10")),
        Err(ReadingRefusal::RatingNotPositive { .. })
    ));
    assert!(matches!(
        expected_band(Quantity::Power, &water_heater(), dec("100")),
        Err(ReadingRefusal::ToleranceOutOfRange { .. })
    ));
    let reading = Reading {
        unit: Unit::Volt,
        ..ohms("1", Connection::LeadOff)
    };
    assert!(matches!(
        judge(&reading, None),
        Err(ReadingRefusal::WrongUnit { .. })
    ));
    let huge = ElementRating {
        volts: Decimal::MAX,
        watts: Decimal::ONE,
    };
    assert_eq!(ohms_of(huge), Err(ReadingRefusal::TooLarge));
}

#[test]
fn water_boils_at_the_same_temperature_in_both_scales() {
    let reading = Reading {
        quantity: Quantity::Temperature,
        value: dec("212"),
        unit: Unit::Fahrenheit,
        connection: Connection::WiredIn,
    };
    assert_eq!(reading.in_base_unit(), Ok(dec("100")));
}

#[test]
fn what_nothing_in_a_home_has_is_no_reading() {
    let judged = |value: &str, quantity, unit| {
        let reading = Reading {
            quantity,
            value: dec(value),
            unit,
            connection: Connection::LeadOff,
        };
        judge(&reading, None)
    };
    let (heat, force) = (Quantity::Temperature, Quantity::Pressure);
    for (value, quantity, unit) in [
        ("-273.15", heat, Unit::Celsius),
        ("-459.67", heat, Unit::Fahrenheit),
        ("2000", heat, Unit::Celsius),
        ("-101.325", force, Unit::Kilopascal),
        ("20000", force, Unit::Kilopascal),
    ] {
        let possible = judged(value, quantity, unit);
        assert_eq!(possible, Ok(Verdict::NoBand), "{value}");
    }
    for (value, quantity, unit) in [
        ("-273.16", heat, Unit::Celsius),
        ("-459.68", heat, Unit::Fahrenheit),
        ("2000.01", heat, Unit::Celsius),
        ("-14.7", force, Unit::Psi),
        ("20000.1", force, Unit::Kilopascal),
    ] {
        let refused = judged(value, quantity, unit);
        assert!(
            matches!(refused, Err(ReadingRefusal::Impossible(_))),
            "{value}"
        );
    }
}

proptest! {
    #[test]
    fn ohms_times_amps_squared_is_the_power(volts in 100i64..600, watts in 10i64..20_000) {
        let rating = ElementRating { volts: volts.into(), watts: watts.into() };
        let amps = amps_of(rating)?;
        let power = ohms_of(rating)? * amps * amps;
        prop_assert!((power - rating.watts).abs() < dec("0.000001"));
    }

    #[test]
    fn a_wider_tolerance_never_turns_inside_into_outside(value in 1i64..4_000, narrow in 0i64..98) {
        let reading = ohms(&Decimal::new(value, 2).to_string(), Connection::LeadOff);
        let verdict = |percent: i64| {
            let band = expected_band(Quantity::Resistance, &water_heater(), percent.into()).expect("a band");
            judge(&reading, band.as_ref()).expect("a verdict")
        };
        if verdict(narrow) == Verdict::Inside {
            prop_assert_eq!(verdict(narrow + 1), Verdict::Inside);
        }
    }
}
