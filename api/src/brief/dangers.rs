//! What can hurt on a machine, and what burnt a joint on it: the same for the graph and for the text.

use nameplate_entities::kinds::Fuel;
use nameplate_rules::cautions::{Caution, Supply};

use crate::callbacks::{Examined, Failed, OfJoint, examine_joint};

use super::store::{Brief, Flagged, Found};

/// What the type of machine and its fuel ask for, and the danger of what came back; each once, isolation first.
pub fn cautions(brief: &Brief) -> Vec<Caution> {
    let supply = match brief.ticket.appliance.fuel {
        Fuel::NaturalGas | Fuel::LiquidGas => Supply::Gas,
        Fuel::Electric | Fuel::None => Supply::NoGas,
    };
    let mut all = Caution::for_machine(&brief.ticket.appliance_type.key, supply);
    for row in &brief.flags {
        all.extend(Caution::for_hazard(failed(row).danger()));
    }
    all.sort_unstable();
    all.dedup();
    all
}

/// The causes of a flag's burnt joint, by what was measured on calls on which it was found; none for a flag that is about
/// no hot joint.
pub fn joint<'b>(brief: &'b Brief, row: &Flagged) -> Option<Examined<'b>> {
    if row.flag.pattern.is_some() || !failed(row).is_hot_joint() {
        return None;
    }
    let call_id = row.flag.call_id;
    let of_call = (brief.findings.iter()).filter(|found| found.finding.call_id == call_id);
    let found: Vec<Failed<'_>> = of_call.map(found_as_failed).collect();
    let of_component =
        (brief.findings.iter()).filter(|found| found.finding.component_id == row.flag.component_id);
    let found_on: Vec<i64> = of_component.map(|found| found.finding.call_id).collect();
    let of_joint = OfJoint {
        machine: &brief.ticket.appliance,
        call_id,
        found_on: &found_on,
    };
    Some(examine_joint(of_joint, &found, &brief.readings))
}

fn failed(row: &Flagged) -> Failed<'_> {
    Failed {
        component: &row.component.name,
        mode: &row.mode.key,
        hazard: row.mode.hazard,
    }
}

fn found_as_failed(row: &Found) -> Failed<'_> {
    Failed {
        component: &row.component.name,
        mode: &row.mode.key,
        hazard: row.mode.hazard,
    }
}
