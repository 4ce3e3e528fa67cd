//! What to look at next time: a seed list by kind of component and failure mode, which the shop may extend.
//!
//! It is here so that a flag can say more than "again". What must stay true: every check is done on an isolated machine
//! or from outside, none is an instruction to work live; every row names its cautions, isolation first. The advice is
//! the shop's own and follows common practice, with no source.

mod seed;

use super::{ComponentClass, Hazard};
use crate::cautions::Caution;
use seed::{GENERAL, SEED};

/// One row of the list: for this component and mode, look at this, mind that.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NextCheck {
    pub class: ComponentClass,
    /// Key of the failure mode.
    pub mode: &'static str,
    pub checks: &'static [&'static str],
    pub cautions: &'static [Caution],
}

/// The row for a component and failure mode. Without a row of its own the failure gets the general one.
#[must_use]
pub fn next_check(class: ComponentClass, mode: &str) -> &'static NextCheck {
    SEED.iter()
        .find(|row| row.class == class && row.mode == mode)
        .unwrap_or(&GENERAL)
}

/// The list of one failure mode as a shop begins with it: the rows of each kind of component, then (`None`) the row for
/// every other. Gas that leaks is the same matter whatever it leaks from.
#[must_use]
pub fn advice_of_mode(mode: &str) -> Vec<(Option<ComponentClass>, &'static NextCheck)> {
    if mode == GAS_LEAK {
        return vec![(None, next_check(ComponentClass::GasValve, "leaking"))];
    }
    SEED.iter()
        .filter(|row| row.mode == mode)
        .map(|row| (Some(row.class), row))
        .chain([(None, &GENERAL)])
        .collect()
}

/// Key of the failure mode that stands for leaking gas.
const GAS_LEAK: &str = "gas_leak";

/// The danger a failure carries unless the shop says otherwise.
///
/// Shape: burnt is heat, a gas part that leaks or cracks is gas, shorted or loose current paths are arcing, and water
/// parts that leak are water on electrical parts. The shop may set another for each of its modes.
///
/// # Source
/// Common practice, no source.
#[must_use]
pub fn default_hazard(class: ComponentClass, mode: &str) -> Hazard {
    use ComponentClass::{
        CirculationPump, Connector, ControlBoard, DrainPump, GasValve, HeatingElement, HoseOrSeal,
        Terminal, WaterValve,
    };
    match (class, mode) {
        (GasValve, "leaking" | "cracked" | "loose") => Hazard::Gas,
        (_, "burnt") => Hazard::Heat,
        (Terminal | Connector, "loose" | "shorted")
        | (HeatingElement | ControlBoard, "shorted" | "grounded") => Hazard::Arc,
        (DrainPump | CirculationPump | HoseOrSeal | WaterValve, "leaking" | "cracked") => {
            Hazard::WaterOnElectrics
        }
        _ => Hazard::None,
    }
}

/// Every row of the seed list.
#[must_use]
pub fn seed() -> &'static [NextCheck] {
    &SEED
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_has_checks_and_names_isolation_as_its_first_caution() {
        for row in seed().iter().chain([&GENERAL]) {
            assert!(!row.checks.is_empty(), "{row:?}");
            assert_eq!(
                row.cautions.first(),
                Some(&Caution::IsolateAndProveDead),
                "{row:?}"
            );
        }
    }

    #[test]
    fn every_mode_has_a_row_for_components_without_their_own_and_leaking_gas_has_the_gas_row() {
        let leaking = advice_of_mode("leaking");
        assert!(leaking.len() > 2);
        assert_eq!(leaking.last(), Some(&(None, &GENERAL)));
        assert!(
            advice_of_mode("gas_leak")
                .iter()
                .all(|(class, row)| class.is_none() && row.cautions.contains(&Caution::Gas))
        );
    }

    #[test]
    fn no_check_tells_anyone_to_work_live() {
        for text in seed().iter().chain([&GENERAL]).flat_map(|row| row.checks) {
            let lower = text.to_lowercase();
            for banned in [
                "live",
                "energised",
                "energized",
                "powered",
                "power on",
                "switched on",
                "under load",
                "while running",
            ] {
                assert!(!lower.contains(banned), "\"{banned}\" in: {text}");
            }
        }
    }

    #[test]
    fn what_fails_most_in_homes_has_rows_of_its_own() {
        use ComponentClass::{
            Bearing, CirculationPump, ControlBoard, DrainPump, FanOrDuct, HoseOrSeal, Sensor,
            Terminal, ThermalFuse, WaterValve,
        };
        let common = [
            (Terminal, "burnt"),
            (ThermalFuse, "open"),
            (Sensor, "open"),
            (Sensor, "out_of_range"),
            (HoseOrSeal, "leaking"),
            (WaterValve, "leaking"),
            (CirculationPump, "leaking"),
            (Bearing, "worn"),
            (Bearing, "seized"),
            (DrainPump, "blocked"),
            (HoseOrSeal, "blocked"),
            (FanOrDuct, "blocked"),
            (DrainPump, "seized"),
            (CirculationPump, "seized"),
            (ControlBoard, "burnt"),
            (ControlBoard, "shorted"),
            (ControlBoard, "open"),
        ];
        for (class, mode) in common {
            assert_ne!(next_check(class, mode), &GENERAL, "{class:?} {mode}");
        }
    }

    #[test]
    fn a_part_that_heat_opened_is_never_to_be_bridged_and_its_cause_is_to_be_found() {
        for class in [ComponentClass::ThermalFuse, ComponentClass::Sensor] {
            let row = next_check(class, "open");
            assert!(row.cautions.contains(&Caution::OverheatingCause));
            assert!(
                row.checks
                    .iter()
                    .any(|text| text.starts_with("Never bridge"))
            );
        }
    }

    #[test]
    fn no_component_and_mode_has_two_rows() {
        for (place, row) in seed().iter().enumerate() {
            let twin = seed()
                .iter()
                .skip(place + 1)
                .find(|other| other.class == row.class && other.mode == row.mode);
            assert_eq!(twin, None);
        }
    }

    #[test]
    fn a_burnt_terminal_carries_the_overheating_caution_and_a_leaking_gas_valve_the_gas_one() {
        assert!(
            next_check(ComponentClass::Terminal, "burnt")
                .cautions
                .contains(&Caution::OverheatingCause)
        );
        assert!(
            next_check(ComponentClass::GasValve, "leaking")
                .cautions
                .contains(&Caution::Gas)
        );
        assert_eq!(
            default_hazard(ComponentClass::Terminal, "burnt"),
            Hazard::Heat
        );
        assert_eq!(
            default_hazard(ComponentClass::GasValve, "leaking"),
            Hazard::Gas
        );
        assert_eq!(
            default_hazard(ComponentClass::DrainPump, "leaking"),
            Hazard::WaterOnElectrics
        );
        assert_eq!(
            default_hazard(ComponentClass::DrainPump, "seized"),
            Hazard::None
        );
    }

    #[test]
    fn a_failure_without_a_row_gets_the_general_checks() {
        assert_eq!(next_check(ComponentClass::DoorLatch, "worn"), &GENERAL);
    }
}
