//! The rows that a shop begins with. Each check is our own wording of common practice, with no source; each caution defers to
//! the maker's instructions, local codes and licensed practice in its text.

use super::NextCheck;
use crate::cautions::Caution;
use crate::flags::ComponentClass;

/// The row for a failure without a row of its own.
pub(super) const GENERAL: NextCheck = NextCheck {
    class: ComponentClass::Other,
    mode: "any",
    checks: &[
        "Compare what was found and done the last time with what is found now.",
        "Look for what loads or heats the part: neighbours, supply, use, mounting.",
        "Compare the fitted part number with the maker's list for this model.",
    ],
    cautions: &[Caution::IsolateAndProveDead],
};

/// Every other row; a component and failure mode have one.
pub(super) const SEED: [NextCheck; 35] = [
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
    NextCheck {
        class: ComponentClass::Connector,
        mode: "loose",
        checks: &[
            "With the machine isolated, look for heat marks and for pins that were pushed back in their housing.",
            "See whether a pulled or swinging harness works it loose, and tie it where the maker does.",
            "Try the fit of each contact by hand; one that was spread once does not grip again.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::OverheatingCause],
    },
    NextCheck {
        class: ComponentClass::HeatingElement,
        mode: "burnt",
        checks: &[
            "Look for the hot spot: sag, scale, lint or foil that kept heat from leaving.",
            "Inspect terminals and wires beside it back to sound copper.",
            "See whether relay or thermostat lets go again once the heat is reached; test its contacts with the leads off.",
        ],
        cautions: &[
            Caution::IsolateAndProveDead,
            Caution::OverheatingCause,
            Caution::HeatedSplice,
        ],
    },
    NextCheck {
        class: ComponentClass::Sensor,
        mode: "open",
        checks: &[
            "Find what made it hot: a limit thermostat that opened has done its work and is not the fault.",
            "Check air path, fan wheel and seals before it is replaced or reset.",
            "Look for contacts in the heater circuit that stay closed.",
            "Never bridge it, not even to try; fit one of the rating that the maker names.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::OverheatingCause],
    },
    NextCheck {
        class: ComponentClass::Sensor,
        mode: "shorted",
        checks: &[
            "Look for moisture in its plug and for insulation chafed through on an edge.",
            "With the sensor unplugged, measure sensor and harness apart to see which of them is shorted.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::WaterAndElectricity],
    },
    NextCheck {
        class: ComponentClass::Sensor,
        mode: "out_of_range",
        checks: &[
            "With the sensor unplugged, compare its resistance with the maker's table at the temperature of the room.",
            "Look at plug and harness for corrosion, and pull each wire by hand: a poor joint reads like a bad sensor.",
            "See whether it sits where the maker puts it, and whether scale, lint or grease covers it.",
            "Where the sensor is good, suspect the input of the board before a second one is fitted.",
        ],
        cautions: &[Caution::IsolateAndProveDead],
    },
    NextCheck {
        class: ComponentClass::CirculationPump,
        mode: "seized",
        checks: &[
            "Look for glass, seeds and scale in the sump, and past which filter they came.",
            "Turn the rotor by hand and look for wear of its bearing.",
            "See whether it ran dry: water level, inlet valve, float.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::WaterAndElectricity],
    },
    NextCheck {
        class: ComponentClass::DrainPump,
        mode: "leaking",
        checks: &[
            "Look at filter cover, clamps and hose ends before the pump itself is blamed.",
            "Look for a cracked housing, and for what hit it from inside.",
            "Look for water tracks over wiring below.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::WaterAndElectricity],
    },
    NextCheck {
        class: ComponentClass::Bearing,
        mode: "worn",
        checks: &[
            "Turn the drum by hand and feel for roughness; lift it and see where it has play.",
            "Look at shaft, rollers and supports for grooves that would wear the new bearing out.",
            "Look for water or lint behind the seal that should keep it out.",
            "Ask about loads, and see whether the machine stands level and firm.",
        ],
        cautions: &[Caution::IsolateAndProveDead],
    },
    NextCheck {
        class: ComponentClass::Belt,
        mode: "worn",
        checks: &[
            "See whether pulleys stand in line and the tension arm moves freely.",
            "Turn drum and motor by hand with the belt off to see which of them drags.",
            "Compare the belt's number with the maker's list for this model.",
        ],
        cautions: &[Caution::IsolateAndProveDead],
    },
    NextCheck {
        class: ComponentClass::HoseOrSeal,
        mode: "cracked",
        checks: &[
            "Look for what made it brittle or bent it: heat, ozone, detergent, a tight bend.",
            "See whether the hose moves with the machine and rubs where it cracked.",
            "Check its age and that of its twins, and the water pressure of the house.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::WaterAndElectricity],
    },
    NextCheck {
        class: ComponentClass::HoseOrSeal,
        mode: "blocked",
        checks: &[
            "Take the hose off at both ends and look through it.",
            "Look for a kink behind the machine, and for the height that the maker asks of the drain.",
            "Check the standpipe, trap or air gap of the house for what backs up.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::WaterAndElectricity],
    },
    NextCheck {
        class: ComponentClass::WaterValve,
        mode: "blocked",
        checks: &[
            "Look at the screen for grit and rust, and have the line flushed before a new valve goes in.",
            "See how far the shut-off of the house opens.",
            "Ask about work on the pipes of the house.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::WaterAndElectricity],
    },
    NextCheck {
        class: ComponentClass::ControlBoard,
        mode: "open",
        checks: &[
            "Look at plugs and solder joints of the board for pins that are pushed back, dark or cracked.",
            "With the machine isolated, test fuses, line filter and door switches that feed the board.",
            "Compare board number and software with the maker's list for this model.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::StoredEnergy],
    },
    NextCheck {
        class: ComponentClass::ControlBoard,
        mode: "shorted",
        checks: &[
            "With its plugs off, test what each output of the board feeds for a short before a new board is fitted.",
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
        mode: "burnt",
        checks: &[
            "Find what held it or kept its air away: a stiff drive, a blocked fan, lint.",
            "Compare the voltage rating of the motor with the supply of the house.",
            "Test start capacitor, relay and switch with the leads off before a new motor is fitted.",
        ],
        cautions: &[
            Caution::IsolateAndProveDead,
            Caution::StoredEnergy,
            Caution::OverheatingCause,
        ],
    },
    NextCheck {
        class: ComponentClass::Igniter,
        mode: "open",
        checks: &[
            "With its plug off, look for cracks and for traces of a touch or a spill.",
            "See whether its type and lead length are those that the maker names, and whether flame or draught strikes it.",
            "Have gas pressure and valve looked at by a person licensed for gas where new ones do not last.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::Gas],
    },
    NextCheck {
        class: ComponentClass::SealedSystem,
        mode: "blocked",
        checks: &[
            "Look at the frost pattern, and ask for how long it cooled poorly.",
            "Leave opening, recovery and charging to a person certified for it, and ask what was found in the drier.",
        ],
        cautions: &[Caution::IsolateAndProveDead, Caution::Refrigerant],
    },
];
