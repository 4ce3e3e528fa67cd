//! A bad batch of a part: six dryers get a thermal fuse of it, five of them come back, and the sixth holds.

use std::collections::BTreeSet;

use super::{Billing, CallPlan, How, MachinePlan, Repair};

/// The batch as it is printed on the fuse.
pub const BAD_BATCH: &str = "M4-0817";
const COMPONENT: &str = "Thermal fuse";
/// Days before today the first was fitted, and days between one and the next.
const FIRST_BACK_DAYS: i64 = 250;
const EVERY_DAYS: i64 = 9;
/// Who fitted each, and after how many days its machine was back.
const FITTED: [(usize, Option<i64>); 6] = [
    (2, Some(9)),
    (2, Some(12)),
    (2, Some(15)),
    (1, Some(18)),
    (2, Some(21)),
    (0, None),
];

/// The calls of the batch, on dryers that never had that fuse replaced. The first dryer is left for the claim of today.
pub fn calls(machines: &[MachinePlan], had: &BTreeSet<(usize, String)>) -> Vec<CallPlan> {
    let dryers = machines
        .iter()
        .enumerate()
        .filter(|(_, machine)| machine.type_key == "dryer")
        .skip(1)
        .filter(|(index, _)| !had.contains(&(*index, COMPONENT.to_owned())));
    let fuses = dryers.filter_map(|(index, machine)| {
        let mut repairs = machine.repairs.iter();
        Some((index, repairs.find(|row| row.component == COMPONENT)?))
    });
    let mut calls = Vec::new();
    for ((machine, repair), (number, (technician, back_after))) in fuses.zip((0..).zip(FITTED)) {
        let fitted = replaced(
            (machine, repair),
            FIRST_BACK_DAYS - number * EVERY_DAYS,
            technician,
        );
        if let Some(age_days) = back_after {
            // The visit is a day after the call, so the return is counted from there.
            let again = replaced((machine, repair), fitted.back_days - 1 - age_days, 2);
            calls.push(CallPlan {
                billing: Billing::Free,
                ..again
            });
        }
        calls.push(CallPlan {
            batch: Some(BAD_BATCH),
            ..fitted
        });
    }
    calls
}

fn replaced((machine, repair): (usize, &Repair), back_days: i64, technician: usize) -> CallPlan {
    CallPlan {
        back_days,
        machine,
        repair: repair.clone(),
        how: How::Replaced,
        technician,
        billing: Billing::Estimate {
            paid_after_days: Some(2),
        },
        volts_read: None,
        batch: None,
        further_visit: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::demo::{SEED, scenario};

    #[test]
    fn the_bad_batch_is_fitted_into_six_machines_of_which_five_come_back() {
        let plan = scenario::plan(SEED).unwrap();
        let fitted = plan
            .calls
            .iter()
            .filter(|call| call.batch == Some(BAD_BATCH));
        let machines: BTreeSet<usize> = fitted.map(|call| call.machine).collect();
        assert_eq!(machines.len(), FITTED.len());
        let back = |call: &&CallPlan| {
            machines.contains(&call.machine)
                && call.billing == Billing::Free
                && call.repair.component == COMPONENT
        };
        assert_eq!(plan.calls.iter().filter(back).count(), 5);
    }
}
