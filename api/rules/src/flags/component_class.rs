//! Kinds of component that share their checks, and how a component's name tells its kind.
//!
//! It is here so that a component which the shop adds gets fitting advice without a form to fill in. What must stay
//! true: a name nobody thought of is `Other`, which has the general advice; a gas part is never taken for a water part.

use super::Hazard;
use serde::{Deserialize, Serialize};

/// Kinds of component that share their checks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ComponentClass {
    Terminal,
    Connector,
    HeatingElement,
    ThermalFuse,
    Sensor,
    ControlBoard,
    DrainPump,
    CirculationPump,
    Motor,
    Bearing,
    Belt,
    WaterValve,
    HoseOrSeal,
    DoorLatch,
    FanOrDuct,
    Igniter,
    GasValve,
    SealedSystem,
    Other,
}

use ComponentClass::{
    Bearing, Belt, CirculationPump, Connector, ControlBoard, DoorLatch, DrainPump, FanOrDuct,
    GasValve, HeatingElement, HoseOrSeal, Igniter, Motor, Other, SealedSystem, Sensor, Terminal,
    ThermalFuse, WaterValve,
};

/// How the words of a name begin, and the kind they tell. The first row of which every beginning is there decides.
const BEGINNINGS: [(&[&str], ComponentClass); 48] = [
    (&["relay"], Other),
    (&["terminal"], Terminal),
    (&["gas", "valve"], GasValve),
    (&["gas", "hose"], GasValve),
    (&["gas", "line"], GasValve),
    (&["gas", "connector"], GasValve),
    (&["gas", "regulator"], GasValve),
    (&["ignit"], Igniter),
    (&["spark"], Igniter),
    (&["fuse"], ThermalFuse),
    (&["thermal", "cut"], ThermalFuse),
    (&["element"], HeatingElement),
    (&["heater"], HeatingElement),
    (&["drain", "pump"], DrainPump),
    (&["pump"], CirculationPump),
    (&["bearing"], Bearing),
    (&["belt"], Belt),
    (&["fan"], FanOrDuct),
    (&["duct"], FanOrDuct),
    (&["vent"], FanOrDuct),
    (&["blower"], FanOrDuct),
    (&["sealed", "system"], SealedSystem),
    (&["compressor"], SealedSystem),
    (&["evaporator"], SealedSystem),
    (&["condenser"], SealedSystem),
    (&["refrigerant"], SealedSystem),
    (&["board"], ControlBoard),
    (&["control"], ControlBoard),
    (&["sensor"], Sensor),
    (&["thermistor"], Sensor),
    (&["thermostat"], Sensor),
    (&["probe"], Sensor),
    (&["latch"], DoorLatch),
    (&["lock"], DoorLatch),
    (&["hinge"], DoorLatch),
    (&["seal"], HoseOrSeal),
    (&["gasket"], HoseOrSeal),
    (&["hose"], HoseOrSeal),
    (&["line"], HoseOrSeal),
    (&["boot"], HoseOrSeal),
    (&["bellows"], HoseOrSeal),
    (&["valve"], WaterValve),
    (&["motor"], Motor),
    (&["connector"], Connector),
    (&["plug"], Connector),
    (&["cord"], Connector),
    (&["harness"], Connector),
    (&["wir"], Connector),
];

impl ComponentClass {
    /// Every kind.
    pub const ALL: [Self; 19] = [
        Terminal,
        Connector,
        HeatingElement,
        ThermalFuse,
        Sensor,
        ControlBoard,
        DrainPump,
        CirculationPump,
        Motor,
        Bearing,
        Belt,
        WaterValve,
        HoseOrSeal,
        DoorLatch,
        FanOrDuct,
        Igniter,
        GasValve,
        SealedSystem,
        Other,
    ];

    /// The stable key under which records refer to the kind.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Terminal => "terminal",
            Connector => "connector",
            HeatingElement => "heating_element",
            ThermalFuse => "thermal_fuse",
            Sensor => "sensor",
            ControlBoard => "control_board",
            DrainPump => "drain_pump",
            CirculationPump => "circulation_pump",
            Motor => "motor",
            Bearing => "bearing",
            Belt => "belt",
            WaterValve => "water_valve",
            HoseOrSeal => "hose_or_seal",
            DoorLatch => "door_latch",
            FanOrDuct => "fan_or_duct",
            Igniter => "igniter",
            GasValve => "gas_valve",
            SealedSystem => "sealed_system",
            Other => "other",
        }
    }

    /// The kind with this key, if there is one.
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|class| class.key() == key)
    }

    /// The kind that a component's name tells; `Other` when it tells none.
    ///
    /// # Example
    /// ```
    /// use nameplate_rules::flags::ComponentClass;
    /// assert_eq!(ComponentClass::named("Left front burner terminal"), ComponentClass::Terminal);
    /// assert_eq!(ComponentClass::named("Crumb tray"), ComponentClass::Other);
    /// ```
    #[must_use]
    pub fn named(name: &str) -> Self {
        let name = name.to_lowercase();
        let words: Vec<&str> = name.split(|c: char| !c.is_alphanumeric()).collect();
        let begins = |beginning: &str| words.iter().any(|word| word.starts_with(beginning));
        BEGINNINGS
            .iter()
            .find(|(beginnings, _)| beginnings.iter().all(|beginning| begins(beginning)))
            .map_or(Other, |(_, class)| *class)
    }

    /// The danger of a failure of such a component when the shop's list of modes says `of_mode`.
    ///
    /// A gas part that leaks, cracks or works loose is a danger of gas, whatever the same mode is elsewhere.
    #[must_use]
    pub fn hazard(self, mode: &str, of_mode: Hazard) -> Hazard {
        match (self, mode) {
            (GasValve, "leaking" | "cracked" | "loose") => Hazard::Gas,
            _ => of_mode,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_tell_their_kind() {
        for (name, class) in [
            ("Terminal block", Terminal),
            ("Bake element terminal", Terminal),
            ("Compressor start relay", Other),
            ("Gas valve", GasValve),
            ("Water inlet valve", WaterValve),
            ("Drain pump", DrainPump),
            ("Circulation pump", CirculationPump),
            ("Condenser fan", FanOrDuct),
            ("Compressor", SealedSystem),
            ("Door seal", HoseOrSeal),
            ("Sealed system", SealedSystem),
            ("Thermal fuse", ThermalFuse),
            ("Bake element", HeatingElement),
            ("Main control board", ControlBoard),
            ("Wiring", Connector),
            ("Drive motor", Motor),
            ("Shelf", Other),
            ("", Other),
        ] {
            assert_eq!(ComponentClass::named(name), class, "{name}");
        }
    }

    #[test]
    fn every_key_is_the_word_that_records_hold() {
        for class in ComponentClass::ALL {
            let word = serde_json::to_value(class).expect("a word");
            assert_eq!(word, class.key());
            assert_eq!(ComponentClass::from_key(class.key()), Some(class));
        }
        assert_eq!(ComponentClass::from_key("any"), None);
    }

    #[test]
    fn a_leaking_gas_valve_is_a_danger_of_gas_and_a_leaking_hose_what_the_shop_says() {
        assert_eq!(GasValve.hazard("leaking", Hazard::None), Hazard::Gas);
        assert_eq!(
            HoseOrSeal.hazard("leaking", Hazard::WaterOnElectrics),
            Hazard::WaterOnElectrics
        );
    }
}
