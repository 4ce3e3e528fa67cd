//! What burnt a joint that is flagged: the readings on its machine, gathered for `nameplate_rules::readings::joint`.
//!
//! What must stay true: a reading names no component, so only those of calls on which the joint's own was found count for
//! it, and none of a call on which it was not; two components that were found on one call share its readings. Voltages and
//! current say something only together, so they are taken from one call: that on which most of them were read, the newest
//! of such calls; everything else from the newest reading there is. Each reading used is named, so that one of an earlier
//! call is seen to be one. Watts and ohms count only for the part whose rating was given with them, as a machine's plate is
//! the sum of several, and only where they follow from each other.

use nameplate_entities::kinds::{self, Across, Circuit, Quantity};
use nameplate_entities::{appliance, reading};
use nameplate_rules::flags::{ComponentClass, Hazard};
use nameplate_rules::readings::conductor::Duty;
use nameplate_rules::readings::joint::{
    AirPath, Burn, JointFacts, JointRefusal, JointReport, examine,
};
use rust_decimal::Decimal;

use crate::calls;

use super::store;

/// Key of the failure mode of a duct or fan that lets no air through.
const BLOCKED: &str = "blocked";

/// What failed, by its names.
#[derive(Clone, Copy, Debug)]
pub struct Failed<'a> {
    pub component: &'a str,
    /// Key of the failure mode.
    pub mode: &'a str,
    pub hazard: kinds::Hazard,
}

impl Failed<'_> {
    /// The danger that it carries.
    pub fn danger(self) -> Hazard {
        let class = ComponentClass::named(self.component);
        class.hazard(self.mode, store::hazard(self.hazard))
    }

    /// Whether it is a joint that was hot.
    pub fn is_hot_joint(self) -> bool {
        let class = ComponentClass::named(self.component);
        matches!(class, ComponentClass::Terminal | ComponentClass::Connector)
            && matches!(self.danger(), Hazard::Heat | Hazard::Arc)
    }

    /// Whether it is a way of the air that is shut.
    fn is_blocked_air(self) -> bool {
        ComponentClass::named(self.component) == ComponentClass::FanOrDuct && self.mode == BLOCKED
    }
}

/// All five causes with what speaks for or against them, and the readings that say so.
pub struct Examined<'r> {
    /// Refused where the readings contradict each other.
    pub report: Result<JointReport, JointRefusal>,
    /// In the order in which they were taken.
    pub readings: Vec<&'r reading::Model>,
}

/// Which joint is looked at.
#[derive(Clone, Copy, Debug)]
pub struct OfJoint<'a> {
    pub machine: &'a appliance::Model,
    /// The flag's own call.
    pub call_id: i64,
    /// Calls on which the flag's component was found.
    pub found_on: &'a [i64],
}

/// Looks at the joint of a flag.
///
/// `found` is what was found on the flag's own call, `readings` are those of the machine, oldest first.
pub fn examine_joint<'r>(
    OfJoint {
        machine,
        call_id,
        found_on,
    }: OfJoint<'_>,
    found: &[Failed<'_>],
    readings: &'r [reading::Model],
) -> Examined<'r> {
    let of_joint = readings
        .iter()
        .filter(|row| row.call_id == call_id || found_on.contains(&row.call_id));
    let readings: Vec<&'r reading::Model> = of_joint.collect();
    let load = Load::of_joint(&readings, call_id);
    let is_element = |row: &&reading::Model| {
        row.quantity == Quantity::Resistance && row.isolated && row.part_resistive == Some(true)
    };
    let element = readings.iter().copied().rfind(is_element);
    let rated = [load.current, element].into_iter().flatten();
    let (rated_volts, rated_watts) = rated.filter_map(rating).next_back().unwrap_or((None, None));
    let is_shut = found.iter().any(|failed| failed.is_blocked_air());
    let current = load.current;
    let supply_volts = current
        .and_then(|row| row.supply_volts)
        .map(|volts| volts.0);
    let report = examine(&JointFacts {
        rated_volts: rated_volts.or(machine.rated_volts.map(|volts| volts.0)),
        rated_watts,
        ohms_lead_off: element.and_then(calls::value_in_base_unit),
        open_volts: load.open.and_then(calls::value_in_base_unit),
        loaded_volts: load
            .loaded
            .and_then(calls::value_in_base_unit)
            .or(supply_volts),
        joint_drop_volts: load.joint.and_then(calls::value_in_base_unit),
        load_amps: current.and_then(calls::value_in_base_unit),
        conductor: current.and_then(calls::conductor_of),
        // Nothing ticked is nothing said.
        duty: current
            .filter(|row| row.continuous)
            .map(|_| Duty::Continuous),
        breaker_amps: current
            .and_then(|row| row.breaker_amps)
            .and_then(|amps| u32::try_from(amps).ok()),
        air_path: is_shut.then_some(AirPath::Blocked),
        back_pressure: None,
        // Only a failure that is back has a flag.
        burn: Some(Burn::Returned),
    });
    let used = [load.open, load.loaded, load.joint, current, element];
    let mut used: Vec<&reading::Model> = used.into_iter().flatten().collect();
    used.sort_by_key(|row| row.id);
    Examined {
        report,
        readings: used,
    }
}

/// What was read of one call while a load ran, and without it.
#[derive(Clone, Copy, Default)]
struct Load<'r> {
    open: Option<&'r reading::Model>,
    loaded: Option<&'r reading::Model>,
    joint: Option<&'r reading::Model>,
    current: Option<&'r reading::Model>,
}

impl<'r> Load<'r> {
    /// Of the call on which most of it was read: the flag's own before others, a newer before an older.
    fn of_joint(readings: &[&'r reading::Model], call_id: i64) -> Self {
        let mut calls: Vec<i64> = readings.iter().map(|row| row.call_id).collect();
        calls.sort_by_key(|id| (*id == call_id, *id));
        calls.dedup();
        let of_calls = calls.into_iter().map(|id| Self::of_call(readings, id));
        of_calls.max_by_key(Self::count).unwrap_or_default()
    }

    /// The newest of each kind.
    fn of_call(readings: &[&'r reading::Model], call_id: i64) -> Self {
        let mut load = Self::default();
        let of_call = readings.iter().filter(|row| row.call_id == call_id);
        for row in of_call.copied() {
            match (row.quantity, row.across, row.circuit) {
                (Quantity::Current, ..) => load.current = Some(row),
                (Quantity::Voltage, Some(Across::Joint), _) => load.joint = Some(row),
                (Quantity::Voltage, _, Some(Circuit::Open)) => load.open = Some(row),
                (Quantity::Voltage, _, Some(Circuit::Loaded)) => load.loaded = Some(row),
                _ => {}
            }
        }
        load
    }

    fn count(&self) -> usize {
        let all = [self.open, self.loaded, self.joint, self.current];
        all.into_iter().flatten().count()
    }
}

/// Volts and watts of the measured part itself, where they follow from each other.
fn rating(row: &reading::Model) -> Option<(Option<Decimal>, Option<Decimal>)> {
    row.part_resistive.filter(|is_resistive| *is_resistive)?;
    let volts = row.part_volts.map(|volts| volts.0);
    let by_amps = || volts?.checked_mul(row.part_amps?.0);
    let watts = row.part_watts.map(|watts| watts.0).or_else(by_amps);
    Some((volts, watts))
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::DateTime;
    use nameplate_entities::exact::Exact;
    use nameplate_entities::kinds::{Fuel, Verdict};
    use nameplate_rules::readings::joint::{Cause, Speaks};

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
    fn a_pair_is_taken_from_one_call_and_an_older_whole_pair_before_a_newer_half() {
        let readings = [
            volts(1, 7, "240", Circuit::Open),
            volts(2, 7, "216", Circuit::Loaded),
            read(3, 7, Quantity::Current, "20"),
            volts(4, 9, "245", Circuit::Open),
        ];
        let examined = look(&[], &readings);
        let used: Vec<i64> = examined.readings.iter().map(|row| row.id).collect();
        assert_eq!(used, [1, 2, 3]);
        let circuit = examined.report.expect("a report").circuit.expect("a pair");
        assert_eq!(circuit.drop_volts, Decimal::from(24));
        assert_eq!(circuit.watts, Some(Decimal::from(480)));
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
}
