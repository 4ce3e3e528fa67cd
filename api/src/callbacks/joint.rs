//! What burnt a joint that is flagged: the readings on its machine, gathered for `nameplate_rules::readings::joint`.
//!
//! What must stay true: a reading names no component, so only those of calls on which the joint's own was found count for
//! it, and none of a call on which it was not; two components that were found on one call share its readings.
//!
//! **Voltages and current say something only together, so they are taken from one call**: the flag's own, if a voltage under
//! load, one across the joint or a current above zero was read on it; else the newest call of which that is so. Of that call the
//! newest reading of each kind counts; so the current, the size of its wire, its breaker and how long it runs are each of the
//! newest current that says it. A current of zero drops nothing anywhere, so it is no current. Whether the supply is high is told
//! by the newest call on which it was read, the flag's own before others: by its voltage under load, or else without.
//!
//! The resistance is the newest there is. Watts and ohms count only for the part whose rating was given with them, as a
//! machine's plate is the sum of several, and only where they follow from each other: a whole rating before half of one, the
//! flag's own call before others, the newest. Each reading used is named, so that one of an earlier call is seen to be one.

use std::cmp::Reverse;

use nameplate_entities::kinds::{self, Across, Circuit, Quantity};
use nameplate_entities::{appliance, reading};
use nameplate_rules::flags::{ComponentClass, Hazard};
use nameplate_rules::readings::conductor::Duty;
use nameplate_rules::readings::joint::{
    AirPath, Burn, Cause, JointFacts, JointRefusal, JointReport, SupplyVolts, examine,
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
    read_on: ReadOn,
}

impl Examined<'_> {
    /// The calls on which was read what a cause is weighed by, oldest first.
    pub fn calls_of(&self, cause: Cause) -> Vec<i64> {
        let on = self.read_on;
        let calls = match cause {
            Cause::LooseJoint | Cause::UndersizedConductor => [on.load, None],
            Cause::Overload => [on.current, on.resistance],
            Cause::HighSupply => [on.supply, None],
            // That is found, and no reading.
            Cause::BlockedAirflow => [None, None],
        };
        let mut calls: Vec<i64> = calls.into_iter().flatten().collect();
        calls.sort_unstable();
        calls.dedup();
        calls
    }

    /// The calls of all readings used, oldest first.
    pub fn calls(&self) -> Vec<i64> {
        let mut calls: Vec<i64> = self.readings.iter().map(|row| row.call_id).collect();
        calls.sort_unstable();
        calls.dedup();
        calls
    }
}

/// The call on which each was read.
#[derive(Clone, Copy, Debug)]
struct ReadOn {
    /// Voltages and current, taken together.
    load: Option<i64>,
    /// The current alone.
    current: Option<i64>,
    resistance: Option<i64>,
    supply: Option<i64>,
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
    let used = Used::of(&readings, call_id);
    let is_shut = found.iter().any(|failed| failed.is_blocked_air());
    Examined {
        report: examine(&used.facts(machine, is_shut)),
        read_on: used.read_on(),
        readings: used.readings(),
    }
}

/// The readings that the causes are weighed by.
struct Used<'r> {
    load: Load<'r>,
    supply: Option<(&'r reading::Model, SupplyVolts)>,
    /// The resistance of the part, lead off.
    element: Option<&'r reading::Model>,
    rated: Option<(&'r reading::Model, Rating)>,
}

impl<'r> Used<'r> {
    fn of(readings: &[&'r reading::Model], call_id: i64) -> Self {
        let calls = Load::of_calls(readings, call_id);
        let supply = calls.iter().find_map(Load::supply);
        let together = calls.iter().position(Load::is_any).unwrap_or_default();
        let load = calls.into_iter().nth(together).unwrap_or_default();
        let is_element = |row: &&reading::Model| {
            row.quantity == Quantity::Resistance && row.isolated && row.part_resistive == Some(true)
        };
        let element = readings.iter().copied().rfind(is_element);
        let of_element = readings.iter().copied().filter(|row| {
            let is_its_call = element.is_some_and(|element| element.call_id == row.call_id);
            is_its_call && row.quantity == Quantity::Resistance
        });
        let rows = load.currents.iter().copied().chain(of_element);
        let rated =
            rows.filter_map(|row| Some((row, rating(row)?)))
                .max_by_key(|(row, (volts, watts))| {
                    let is_own = row.call_id == call_id;
                    (watts.is_some(), volts.is_some(), is_own, row.id)
                });
        Self {
            load,
            supply,
            element,
            rated,
        }
    }

    fn facts(&self, machine: &appliance::Model, is_shut: bool) -> JointFacts {
        let load = &self.load;
        let (rated_volts, rated_watts) = self.rated.map_or((None, None), |(_, rating)| rating);
        let breaker = load.breaker().and_then(|row| row.breaker_amps);
        JointFacts {
            rated_volts: rated_volts.or(machine.rated_volts.map(|volts| volts.0)),
            rated_watts,
            ohms_lead_off: self.element.and_then(calls::value_in_base_unit),
            open_volts: load.open.and_then(calls::value_in_base_unit),
            loaded_volts: load.loaded_volts().map(|(_, volts)| volts),
            newest_supply: self.supply.map(|(_, volts)| volts),
            joint_drop_volts: load.joint.and_then(calls::value_in_base_unit),
            load_amps: load.current().and_then(calls::value_in_base_unit),
            conductor: load.wire().and_then(calls::conductor_of),
            // Nothing ticked is nothing said.
            duty: load.lasting().map(|_| Duty::Continuous),
            breaker_amps: breaker.and_then(|amps| u32::try_from(amps).ok()),
            air_path: is_shut.then_some(AirPath::Blocked),
            back_pressure: None,
            // Only a failure that is back has a flag.
            burn: Some(Burn::Returned),
        }
    }

    fn read_on(&self) -> ReadOn {
        let call = |row: &reading::Model| row.call_id;
        ReadOn {
            load: self.load.rows().next().map(call),
            current: self.load.current().map(call),
            resistance: self.element.map(call),
            supply: self.supply.map(|(row, _)| row.call_id),
        }
    }

    /// Each once.
    fn readings(&self) -> Vec<&'r reading::Model> {
        let others = [
            self.element,
            self.rated.map(|(row, _)| row),
            self.supply.map(|(row, _)| row),
        ];
        let mut rows: Vec<&'r reading::Model> = self.load.rows().collect();
        rows.extend(others.into_iter().flatten());
        rows.sort_by_key(|row| row.id);
        rows.dedup_by_key(|row| row.id);
        rows
    }
}

/// What was read of one call while a load ran, and without it; the newest of each kind.
#[derive(Default)]
struct Load<'r> {
    open: Option<&'r reading::Model>,
    loaded: Option<&'r reading::Model>,
    joint: Option<&'r reading::Model>,
    /// All of them, oldest first.
    currents: Vec<&'r reading::Model>,
}

impl<'r> Load<'r> {
    /// Of each call: the flag's own first, then a newer before an older.
    fn of_calls(readings: &[&'r reading::Model], call_id: i64) -> Vec<Self> {
        let mut calls: Vec<i64> = readings.iter().map(|row| row.call_id).collect();
        calls.sort_unstable_by_key(|id| (*id != call_id, Reverse(*id)));
        calls.dedup();
        let of_call = calls.into_iter().map(|id| Self::of_call(readings, id));
        of_call.collect()
    }

    fn of_call(readings: &[&'r reading::Model], call_id: i64) -> Self {
        let mut load = Self::default();
        let of_call = readings.iter().filter(|row| row.call_id == call_id);
        for row in of_call.copied() {
            match (row.quantity, row.across, row.circuit) {
                (Quantity::Current, ..) => load.currents.push(row),
                (Quantity::Voltage, Some(Across::Joint), _) => load.joint = Some(row),
                (Quantity::Voltage, _, Some(Circuit::Open)) => load.open = Some(row),
                (Quantity::Voltage, _, Some(Circuit::Loaded)) => load.loaded = Some(row),
                _ => {}
            }
        }
        load
    }

    /// Whether anything was read while a load ran.
    fn is_any(&self) -> bool {
        self.loaded.is_some() || self.joint.is_some() || self.current().is_some()
    }

    /// The newest current that says something.
    fn says(&self, what: impl Fn(&reading::Model) -> bool) -> Option<&'r reading::Model> {
        self.currents.iter().copied().rfind(|row| what(row))
    }

    fn current(&self) -> Option<&'r reading::Model> {
        self.says(is_flowing)
    }

    fn wire(&self) -> Option<&'r reading::Model> {
        self.says(|row| calls::conductor_of(row).is_some())
    }

    fn breaker(&self) -> Option<&'r reading::Model> {
        self.says(|row| row.breaker_amps.is_some())
    }

    fn lasting(&self) -> Option<&'r reading::Model> {
        self.says(|row| row.continuous)
    }

    /// The voltage under load, or else what was read beside a current.
    fn loaded_volts(&self) -> Option<(&'r reading::Model, Decimal)> {
        let read = |row| Some((row, calls::value_in_base_unit(row)?));
        let beside = || {
            let row = self.says(|row| row.supply_volts.is_some() && is_flowing(row))?;
            Some((row, row.supply_volts?.0))
        };
        self.loaded.and_then(read).or_else(beside)
    }

    fn supply(&self) -> Option<(&'r reading::Model, SupplyVolts)> {
        let told = |(row, volts), under_load| (row, SupplyVolts { volts, under_load });
        let read = |row| Some((row, calls::value_in_base_unit(row)?));
        let open = || Some(told(self.open.and_then(read)?, false));
        self.loaded_volts()
            .map(|loaded| told(loaded, true))
            .or_else(open)
    }

    /// All that is used of it; one may stand twice.
    fn rows(&self) -> impl Iterator<Item = &'r reading::Model> {
        let rows = [
            self.open,
            self.loaded_volts().map(|(row, _)| row),
            self.joint,
            self.current(),
            self.wire(),
            self.breaker(),
            self.lasting(),
        ];
        rows.into_iter().flatten()
    }
}

/// Whether something flowed.
fn is_flowing(row: &reading::Model) -> bool {
    calls::value_in_base_unit(row).is_some_and(|amps| amps > Decimal::ZERO)
}

/// Volts and watts of a part.
type Rating = (Option<Decimal>, Option<Decimal>);

/// Volts and watts of the measured part itself, where they follow from each other.
fn rating(row: &reading::Model) -> Option<Rating> {
    row.part_resistive.filter(|is_resistive| *is_resistive)?;
    let volts = row.part_volts.map(|volts| volts.0);
    let by_amps = || volts?.checked_mul(row.part_amps?.0);
    let watts = row.part_watts.map(|watts| watts.0).or_else(by_amps);
    (volts.is_some() || watts.is_some()).then_some((volts, watts))
}

#[cfg(test)]
mod tests;
