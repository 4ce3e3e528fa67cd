//! Which readings are taken together for a burnt joint, and what they say.

use super::*;
use chrono::DateTime;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{Fuel, Verdict};
use nameplate_rules::readings::joint::{Measure, Speaks};

fn machine() -> appliance::Model {
    appliance::Model {
        id: 1,
        appliance_type_id: 1,
        customer_id: 1,
        service_address_id: 1,
        make: "Hearthline".to_owned(),
        make_key: "HEARTHLINE".to_owned(),
        model: "HX-30".to_owned(),
        serial: None,
        serial_key: None,
        serial_fold: None,
        shop_tag: None,
        unreadable_reason: None,
        fuel: Fuel::Electric,
        rated_volts: Some(Exact(Decimal::from(240))),
        rated_watts: Some(Exact(Decimal::from(9_600))),
        rated_amps: None,
        made_on: None,
        bought_on: None,
        installed_on: None,
        built_in: false,
        version: 1,
    }
}

fn read(id: i64, call_id: i64, quantity: Quantity, value: &str) -> reading::Model {
    let unit = match quantity {
        Quantity::Current => "ampere",
        Quantity::Resistance => "ohm",
        _ => "volt",
    };
    reading::Model {
        id,
        call_id,
        taken_at: DateTime::UNIX_EPOCH,
        taken_by: 1,
        quantity,
        value: Exact(value.parse().expect("a figure")),
        unit: unit.to_owned(),
        place: "terminal block".to_owned(),
        isolated: true,
        wire_awg: None,
        continuous: false,
        expected_low: None,
        expected_high: None,
        verdict: Verdict::NoBand,
        explanation: String::new(),
        note: None,
        circuit: None,
        across: None,
        supply_volts: None,
        part_resistive: None,
        part_volts: None,
        part_watts: None,
        part_amps: None,
        insulation_c: None,
        terminals_c: None,
        breaker_amps: None,
    }
}

fn volts(id: i64, call_id: i64, value: &str, circuit: Circuit) -> reading::Model {
    reading::Model {
        circuit: Some(circuit),
        ..read(id, call_id, Quantity::Voltage, value)
    }
}

/// The joint of a flag of call 9 whose component was found on calls 7, 9 and 12.
fn look<'r>(found: &[Failed<'_>], readings: &'r [reading::Model]) -> Examined<'r> {
    let of_joint = OfJoint {
        machine: &machine(),
        call_id: 9,
        found_on: &[7, 9, 12],
    };
    examine_joint(of_joint, found, readings)
}

fn speaks(examined: &Examined<'_>, cause: Cause) -> Speaks {
    let report = examined.report.as_ref().expect("a report");
    let of_cause = report.bearings.iter().find(|found| found.cause == cause);
    of_cause.expect("all five causes").speaks
}

#[test]
fn a_burnt_terminal_is_a_hot_joint_and_a_burnt_element_or_corroded_plug_is_none() {
    let is_hot = |component, mode, hazard| {
        let failed = Failed {
            component,
            mode,
            hazard,
        };
        failed.is_hot_joint()
    };
    assert!(is_hot(
        "Surface burner terminal",
        "burnt",
        kinds::Hazard::Heat
    ));
    assert!(is_hot("Cord and plug", "loose", kinds::Hazard::Arc));
    assert!(!is_hot("Bake element", "burnt", kinds::Hazard::Heat));
    assert!(!is_hot(
        "Door switch connector",
        "corroded",
        kinds::Hazard::None
    ));
}

#[test]
fn a_pair_is_taken_from_one_call_an_older_one_where_the_own_has_nothing_under_load() {
    let readings = [
        volts(1, 7, "240", Circuit::Open),
        volts(2, 7, "216", Circuit::Loaded),
        read(3, 7, Quantity::Current, "20"),
        volts(4, 9, "245", Circuit::Open),
    ];
    let examined = look(&[], &readings);
    let used: Vec<i64> = examined.readings.iter().map(|row| row.id).collect();
    assert_eq!(used, [1, 2, 3, 4]);
    assert_eq!(examined.calls_of(Cause::LooseJoint), [7]);
    // The supply is told by the own call's.
    assert_eq!(examined.calls_of(Cause::HighSupply), [9]);
    assert_eq!(examined.calls(), [7, 9]);
    let circuit = examined.report.expect("a report").circuit.expect("a pair");
    assert_eq!(circuit.drop_volts, Decimal::from(24));
    assert_eq!(circuit.watts, Some(Decimal::from(480)));
}

#[test]
fn what_is_read_on_the_flags_own_call_counts_though_more_was_read_on_an_older_one() {
    let drop = reading::Model {
        across: Some(Across::Joint),
        ..volts(3, 7, "1.9", Circuit::Loaded)
    };
    let readings = [
        volts(1, 7, "240", Circuit::Open),
        volts(2, 7, "236", Circuit::Loaded),
        drop,
        read(4, 7, Quantity::Current, "12"),
        volts(5, 9, "260", Circuit::Open),
        volts(6, 9, "258", Circuit::Loaded),
        read(7, 9, Quantity::Current, "25"),
    ];
    let examined = look(&[], &readings);
    let used: Vec<i64> = examined.readings.iter().map(|row| row.id).collect();
    assert_eq!(used, [5, 6, 7]);
    assert_eq!(speaks(&examined, Cause::HighSupply), Speaks::For);
    let report = examined.report.expect("a report");
    assert_eq!(report.joint, None);
    let drop = report.circuit.map(|circuit| circuit.watts);
    assert_eq!(drop, Some(Some(Decimal::from(50))));
}

#[test]
fn rating_wire_and_current_are_each_of_the_newest_reading_of_the_call_that_has_them() {
    let rated = reading::Model {
        part_resistive: Some(true),
        part_volts: Some(Exact(Decimal::from(240))),
        part_watts: Some(Exact(Decimal::from(4_500))),
        ..read(1, 9, Quantity::Current, "18.5")
    };
    let wired = reading::Model {
        wire_awg: Some(10),
        ..read(2, 9, Quantity::Current, "18.75")
    };
    let nothing_flows = reading::Model {
        breaker_amps: Some(30),
        ..read(3, 9, Quantity::Current, "0")
    };
    let readings = [rated, wired, nothing_flows];
    let examined = look(&[], &readings);
    let used: Vec<i64> = examined.readings.iter().map(|row| row.id).collect();
    assert_eq!(used, [1, 2, 3]);
    let report = examined.report.expect("a report");
    let expected = report.expected.map(|expected| expected.amps);
    assert_eq!(expected, Some(Decimal::new(1_875, 2)));
    let wire = report.wire.expect("a wire");
    assert_eq!(wire.breaker_allowed, Some(true));
    assert_eq!(
        report.load.map(|load| load.amps),
        Some(Decimal::new(1_875, 2))
    );
}

#[test]
fn a_current_of_zero_is_no_current_and_one_is_asked_for() {
    let drop = reading::Model {
        across: Some(Across::Joint),
        ..volts(1, 9, "0.3", Circuit::Loaded)
    };
    let readings = [drop, read(2, 9, Quantity::Current, "0")];
    let examined = look(&[], &readings);
    let used: Vec<i64> = examined.readings.iter().map(|row| row.id).collect();
    assert_eq!(used, [1]);
    let report = examined.report.expect("a report");
    let joint = report
        .bearings
        .iter()
        .find(|b| b.cause == Cause::LooseJoint);
    let joint = joint.expect("all five causes");
    assert_eq!(joint.speaks, Speaks::Unsettled);
    assert!(joint.missing.contains(&Measure::LoadCurrent), "{joint:?}");
}

#[test]
fn readings_of_a_call_on_which_the_joint_was_not_found_are_not_its_own() {
    let drop = |id, call_id| reading::Model {
        across: Some(Across::Joint),
        ..volts(id, call_id, "3", Circuit::Loaded)
    };
    let readings = [drop(1, 8), read(2, 8, Quantity::Current, "18.75")];
    let of_another = look(&[], &readings);
    assert!(of_another.readings.is_empty());
    assert_ne!(speaks(&of_another, Cause::LooseJoint), Speaks::For);
    let readings = [drop(1, 8), drop(3, 7)];
    let of_own = look(&[], &readings);
    let used: Vec<i64> = of_own.readings.iter().map(|row| row.id).collect();
    assert_eq!(used, [3]);
    assert_eq!(speaks(&of_own, Cause::LooseJoint), Speaks::For);
}

#[test]
fn the_flags_own_call_counts_before_another_on_which_as_much_was_read() {
    let readings = [
        volts(1, 9, "240", Circuit::Loaded),
        volts(2, 12, "230", Circuit::Loaded),
    ];
    let examined = look(&[], &readings);
    assert_eq!(examined.readings.first().map(|row| row.id), Some(1));
}

#[test]
fn a_drop_across_the_joint_speaks_for_a_loose_one_and_a_blocked_duct_for_blocked_air() {
    let drop = reading::Model {
        across: Some(Across::Joint),
        ..volts(1, 9, "3", Circuit::Loaded)
    };
    let readings = [drop, read(2, 9, Quantity::Current, "18.75")];
    let duct = Failed {
        component: "Exhaust duct",
        mode: "blocked",
        hazard: kinds::Hazard::Heat,
    };
    let examined = look(&[duct], &readings);
    assert_eq!(speaks(&examined, Cause::LooseJoint), Speaks::For);
    assert_eq!(speaks(&examined, Cause::BlockedAirflow), Speaks::For);
    let joint = examined.report.expect("a report").joint.expect("a drop");
    assert_eq!(joint.watts, Some(Decimal::new(5_625, 2)));
}

#[test]
fn the_watts_of_the_whole_machine_are_never_taken_for_the_parts_own() {
    let examined = look(&[], &[]);
    assert_eq!(examined.report.expect("a report").expected, None);
    let of_part = reading::Model {
        part_resistive: Some(true),
        part_volts: Some(Exact(Decimal::from(240))),
        part_amps: Some(Exact(Decimal::from(10))),
        ..read(1, 9, Quantity::Resistance, "24")
    };
    let readings = [of_part];
    let examined = look(&[], &readings);
    let expected = examined.report.expect("a report").expected;
    assert_eq!(expected.map(|of| of.ohms), Some(Decimal::from(24)));
}

#[test]
fn readings_that_contradict_each_other_are_refused_and_named() {
    let drop = reading::Model {
        across: Some(Across::Joint),
        ..volts(1, 9, "300", Circuit::Loaded)
    };
    let readings = [drop, volts(2, 9, "230", Circuit::Loaded)];
    let examined = look(&[], &readings);
    assert!(examined.report.is_err());
    assert_eq!(examined.readings.len(), 2);
}
