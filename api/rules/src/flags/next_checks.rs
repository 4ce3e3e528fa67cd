//! What to look at next time: a seed list by kind of component and failure mode, which the shop may extend.
//!
//! It is here so that a flag can say more than "again". What must stay true: every check is done on an isolated machine
//! or from outside, none is an instruction to work live; every row names its cautions, isolation first. The advice is
//! the shop's own and follows common practice, with no source.

use super::{ComponentClass, Hazard};
use crate::cautions::Caution;

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

const GENERAL: NextCheck = NextCheck {
    class: ComponentClass::Other,
    mode: "any",
    checks: &[
        "Compare what was found and done the last time with what is found now.",
        "Look for what loads or heats the part: neighbours, supply, use, mounting.",
        "Compare the fitted part number with the maker's list for this model.",
    ],
    cautions: &[Caution::IsolateAndProveDead],
};

const SEED: [NextCheck; 18] = [
    NextCheck {
        class: ComponentClass::Terminal,
        mode: "burnt",
        checks: &[
            "Compare load current from the plate with the wire size and the breaker.",
            "With the machine isolated, pull each joint by hand and look for blackened or softened insulation back to sound copper.",
            "See whether block, screw, crimp and wire are of metals and ratings that belong together.",
            "Check the outlet, cord and supply terminals too; ask whether other machines at the address burn joints.",
            "Record the tightening torque where the maker gives one.",
        ],
        cautions: &[
            Caution::IsolateAndProveDead,
            Caution::OverheatingCause,
            Caution::HeatedSplice,
        ],
    },
    NextCheck {
        class: ComponentClass::Terminal,
        mode: "loose",
        checks: &[
            "With the machine isolated, look for heat marks that tell how long the joint was loose.",
            "See whether the wire is the size the terminal is made for, and whether strands are cut.",
            "Look for vibration or a pulled harness that works the joint loose.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::OverheatingCause],
    },
    NextCheck {
        class: ComponentClass::Connector,
        mode: "corroded",
        checks: &[
            "Find where the moisture comes from before the connector is cleaned or replaced.",
            "Inspect the mating half and the wire behind it; green or black copper goes further than it looks.",
            "See whether the connector faces up or holds water, and whether its seal is still there.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::WaterAndElectricity],
    },
    NextCheck {
        class: ComponentClass::Connector,
        mode: "burnt",
        checks: &[
            "Compare the load of the circuit with the rating of the connector.",
            "Replace both halves; a burnt contact spoils its new partner.",
            "Look for a part downstream that draws too much.",
        ],
        cautions: &[
            Caution::IsolateAndProveDead,
            Caution::OverheatingCause,
            Caution::HeatedSplice,
        ],
    },
    NextCheck {
        class: ComponentClass::HeatingElement,
        mode: "open",
        checks: &[
            "With one lead off, compare its resistance with the value that its plate gives.",
            "Compare the voltage rating of the element with the supply of the house.",
            "Look for what overheats it: blocked air, scale, running dry, a relay that no longer opens.",
        ],
        cautions: &[Caution::IsolateAndProveDead],
    },
    NextCheck {
        class: ComponentClass::HeatingElement,
        mode: "grounded",
        checks: &[
            "With both leads off, test the insulation between element and frame, cold and again after a spell of use.",
            "Look for cracks in the sheath, and for moisture at its ends.",
        ],
        cautions: &[Caution::IsolateAndProveDead],
    },
    NextCheck {
        class: ComponentClass::ThermalFuse,
        mode: "open",
        checks: &[
            "Find why it opened: a fuse that trips has done its work and is not the fault.",
            "Check the whole air path for lint or a crushed duct, and the wheel of the fan.",
            "Test thermostat and relay for contacts that stick closed.",
            "Never bridge the fuse, not even to try.",
        ],
        cautions: &[
            Caution::IsolateAndProveDead,
            Caution::OverheatingCause,
            Caution::DryerLint,
        ],
    },
    NextCheck {
        class: ComponentClass::FanOrDuct,
        mode: "blocked",
        checks: &[
            "Follow the duct to the outside and clear it over its whole length.",
            "Count bends and measure the length against what the maker allows.",
            "See whether the outside flap opens.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::DryerLint],
    },
    NextCheck {
        class: ComponentClass::DrainPump,
        mode: "seized",
        checks: &[
            "Look for what gets into the pump and past which filter.",
            "Turn the rotor by hand and look for wear of its bearing and for water on its winding.",
            "Compare part number and batch with other pumps that came back.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::WaterAndElectricity],
    },
    NextCheck {
        class: ComponentClass::DrainPump,
        mode: "blocked",
        checks: &[
            "Show the customer what was found, and record it as use if it was.",
            "Check filter, hose and standpipe for what remains.",
        ],
        cautions: &[Caution::IsolateAndProveDead],
    },
    NextCheck {
        class: ComponentClass::CirculationPump,
        mode: "leaking",
        checks: &[
            "Look at the sealing face and the shaft for scoring before a new seal goes in.",
            "See whether the seal was the right one and was fitted dry or wet as the maker asks.",
            "Look for water tracks over wiring below.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::WaterAndElectricity],
    },
    NextCheck {
        class: ComponentClass::Bearing,
        mode: "seized",
        checks: &[
            "Look for the water that washed the grease out: the shaft seal fails first.",
            "Check shaft and housing for wear that a new bearing cannot take up.",
            "Look for imbalance, overloading and a floor that gives.",
        ],
        cautions: &[Caution::IsolateAndProveDead],
    },
    NextCheck {
        class: ComponentClass::HoseOrSeal,
        mode: "leaking",
        checks: &[
            "Find the highest wet point; water runs down before it drips.",
            "Look for a rough edge, a kink or a clamp in the wrong place that cuts the new one as well.",
            "Compare the house's water pressure with what the maker allows.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::WaterAndElectricity],
    },
    NextCheck {
        class: ComponentClass::WaterValve,
        mode: "leaking",
        checks: &[
            "Look for grit on its screen and scale on its seat.",
            "Compare the house's water pressure with what the maker allows.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::WaterAndElectricity],
    },
    NextCheck {
        class: ComponentClass::ControlBoard,
        mode: "burnt",
        checks: &[
            "Test what the burnt track or relay feeds before a new board is fitted.",
            "Look for water, insects or lint on the board, and where they came from.",
            "Ask about surges and other machines that failed at the address.",
        ],
        cautions: &[
            Caution::IsolateAndProveDead,
            Caution::StoredEnergy,
            Caution::OverheatingCause,
        ],
    },
    NextCheck {
        class: ComponentClass::Motor,
        mode: "seized",
        checks: &[
            "Turn the driven side by hand with the belt or coupling off to see which side is stiff.",
            "Look for blocked cooling air and for a start capacitor or relay that has failed.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::StoredEnergy],
    },
    NextCheck {
        class: ComponentClass::GasValve,
        mode: "leaking",
        checks: &[
            "Leave the machine shut off and tagged until a person licensed for gas has found the cause.",
            "Have the supply pressure compared with the valve's rating by that person.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::Gas],
    },
    NextCheck {
        class: ComponentClass::SealedSystem,
        mode: "leaking",
        checks: &[
            "Look for the leak where oil shows, and for tubes that rub or touch.",
            "Leave opening, recovery and charging to a person certified for it.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::Refrigerant],
    },
];

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
    fn no_row_has_more_cautions_than_checks_to_keep_them_beside() {
        for row in seed().iter().chain([&GENERAL]) {
            assert!(row.cautions.len() <= row.checks.len(), "{row:?}");
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
