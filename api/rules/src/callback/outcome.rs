//! What became of completed repairs: for each, the first later call on the machine that counts against it.
//!
//! A call counts against the repair of which it was proposed to be the return, else against the most recent one completed
//! before it. What the office decided holds, and a call that it rejected counts against none; until then what the findings
//! say; until something is found it counts. What must stay true: a call counts against one repair at most, and a repair is
//! counted by one call at most.

use chrono::{DateTime, NaiveDate, Utc};

use super::{Classification, Finding, NO_FAULT_FOUND, age_days, classify};

/// A completed repair call on one machine.
#[derive(Clone, Debug)]
pub struct Repaired {
    pub completed_on: NaiveDate,
    pub completed_at: DateTime<Utc>,
    pub findings: Vec<Finding>,
}

/// What the desk made of a call.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    Rejected,
    /// Proposed, confirmed or never looked at, with the class that was decided; none while open.
    Standing(Option<Classification>),
}

/// An unplanned call on the same machine that was not cancelled.
#[derive(Clone, Debug)]
pub struct Again {
    /// Its place among the repairs, once its own work is completed.
    pub own: Option<usize>,
    pub opened_on: NaiveDate,
    pub opened_at: DateTime<Utc>,
    /// The place of the repair it was proposed to be the return of.
    pub proposed: Option<usize>,
    /// What was made of it, also where it was proposed to be the return of a call that is no repair.
    pub decision: Decision,
    pub findings: Vec<Finding>,
}

/// The call by which a repair came back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Return {
    /// Its place among the later calls.
    pub index: usize,
    /// Days from completion, at least 1.
    pub age_days: u32,
    /// Whether a component repaired then was found wrong again.
    pub same_component: bool,
}

/// For each repair, in the order given, the first call that counts against it.
///
/// Shape: `calls` in the order in which they were taken. Unit: days.
#[must_use]
pub fn outcomes(repairs: &[Repaired], calls: &[Again]) -> Vec<Option<Return>> {
    let mut first: Vec<Option<Return>> = vec![None; repairs.len()];
    for (index, call) in calls.iter().enumerate() {
        let place = call.proposed.or_else(|| latest_before(repairs, call));
        let Some((slot, repair)) =
            place.and_then(|place| Some((first.get_mut(place)?, repairs.get(place)?)))
        else {
            continue;
        };
        let Some(age_days) = age_days(repair.completed_on, call.opened_on) else {
            continue;
        };
        if slot.is_none() && counts(call.decision, &repair.findings, &call.findings) {
            *slot = Some(Return {
                index,
                age_days,
                same_component: is_same_component(&repair.findings, &call.findings),
            });
        }
    }
    first
}

/// The most recent repair that was completed when the call was taken; never the call's own.
fn latest_before(repairs: &[Repaired], call: &Again) -> Option<usize> {
    repairs
        .iter()
        .enumerate()
        .filter(|(place, _)| Some(*place) != call.own)
        .filter(|(_, repair)| {
            repair.completed_on < call.opened_on
                || (repair.completed_on == call.opened_on && repair.completed_at <= call.opened_at)
        })
        .max_by_key(|(place, repair)| (repair.completed_on, repair.completed_at, *place))
        .map(|(place, _)| place)
}

fn counts(decision: Decision, earlier: &[Finding], new: &[Finding]) -> bool {
    let class = match decision {
        Decision::Rejected => return false,
        Decision::Standing(class) => class.or_else(|| classify(earlier, new)),
    };
    class.is_none_or(Classification::is_return)
}

impl Classification {
    /// Whether a callback of this class counts against the repair: not one that has nothing to do with it, and not one by use.
    #[must_use]
    pub fn is_return(self) -> bool {
        match self {
            Self::SameFailure | Self::Related | Self::NoFaultFound => true,
            Self::Unrelated | Self::Use => false,
        }
    }
}

fn is_same_component(earlier: &[Finding], new: &[Finding]) -> bool {
    let real = |finding: &&Finding| finding.mode != NO_FAULT_FOUND;
    new.iter().filter(real).any(|finding| {
        earlier
            .iter()
            .filter(real)
            .any(|before| before.component == finding.component)
    })
}

#[cfg(test)]
mod tests {
    use super::super::Cause;
    use super::*;
    use proptest::prelude::*;

    fn at(day: u64, hour: u32) -> (NaiveDate, DateTime<Utc>) {
        let on = NaiveDate::from_ymd_opt(2026, 1, 1).expect("a day") + chrono::Days::new(day);
        (on, on.and_hms_opt(hour, 0, 0).expect("a time").and_utc())
    }

    fn found(component: &str, cause: Cause) -> Finding {
        Finding {
            component: component.into(),
            mode: "burnt".into(),
            position: None,
            cause,
        }
    }

    fn repaired(day: u64) -> Repaired {
        let (completed_on, completed_at) = at(day, 12);
        Repaired {
            completed_on,
            completed_at,
            findings: vec![found("terminal", Cause::Other)],
        }
    }

    fn again(day: u64, findings: Vec<Finding>) -> Again {
        let (opened_on, opened_at) = at(day, 15);
        Again {
            own: None,
            opened_on,
            opened_at,
            proposed: None,
            decision: Decision::Standing(None),
            findings,
        }
    }

    fn ages(repairs: &[Repaired], calls: &[Again]) -> Vec<Option<u32>> {
        outcomes(repairs, calls)
            .into_iter()
            .map(|back| back.map(|back| back.age_days))
            .collect()
    }

    #[test]
    fn a_call_counts_against_the_latest_repair_before_it_and_a_repair_by_its_first_call() {
        let repairs = [repaired(0), repaired(20)];
        let calls = [again(10, vec![]), again(30, vec![]), again(40, vec![])];
        assert_eq!(ages(&repairs, &calls), [Some(10), Some(10)]);
    }

    #[test]
    fn a_return_on_the_day_itself_is_one_day_old_and_an_earlier_call_of_that_day_is_none() {
        assert_eq!(ages(&[repaired(5)], &[again(5, vec![])]), [Some(1)]);
        let mut before = again(5, vec![]);
        before.opened_at = at(5, 9).1;
        assert_eq!(ages(&[repaired(5)], &[before]), [None]);
    }

    #[test]
    fn a_call_is_never_the_return_of_its_own_work() {
        let (opened_on, opened_at) = at(5, 12);
        let own = Again {
            own: Some(0),
            opened_on,
            opened_at,
            proposed: None,
            decision: Decision::Standing(None),
            findings: vec![],
        };
        assert_eq!(ages(&[repaired(5)], &[own]), [None]);
    }

    #[test]
    fn what_the_desk_decided_goes_before_what_was_found() {
        let by_use = vec![found("filter", Cause::Use)];
        let decided = |decision| Again {
            proposed: Some(0),
            decision,
            ..again(9, by_use.clone())
        };
        let repairs = [repaired(0)];
        assert_eq!(ages(&repairs, &[again(9, by_use.clone())]), [None]);
        let open = Decision::Standing(None);
        assert_eq!(ages(&repairs, &[decided(open)]), [None]);
        let confirmed = Decision::Standing(Some(Classification::Related));
        assert_eq!(ages(&repairs, &[decided(confirmed)]), [Some(9)]);
        assert_eq!(ages(&repairs, &[decided(Decision::Rejected)]), [None]);
    }

    #[test]
    fn a_rejected_call_counts_against_nobody_even_where_it_was_proposed_for_no_repair() {
        let rejected = Again {
            decision: Decision::Rejected,
            ..again(9, vec![])
        };
        assert_eq!(
            ages(&[repaired(0)], std::slice::from_ref(&rejected)),
            [None]
        );
        assert_eq!(
            ages(&[repaired(0)], &[rejected, again(12, vec![])]),
            [Some(12)]
        );
    }

    #[test]
    fn a_call_that_does_not_count_leaves_the_place_to_the_next() {
        let unrelated = again(9, vec![found("door_hinge", Cause::Other)]);
        let same = again(12, vec![found("terminal", Cause::Other)]);
        let got = outcomes(&[repaired(0)], &[unrelated, same]);
        let back = Return {
            index: 1,
            age_days: 12,
            same_component: true,
        };
        assert_eq!(got, [Some(back)]);
    }

    proptest! {
        #[test]
        fn no_call_counts_twice_and_no_age_is_below_one(
            done in prop::collection::vec(0u64..60, 0..6),
            opened in prop::collection::vec(0u64..60, 0..8),
        ) {
            let repairs = done.into_iter().map(repaired).collect::<Vec<_>>();
            let mut opened = opened;
            opened.sort_unstable();
            let calls = opened.into_iter().map(|day| again(day, vec![])).collect::<Vec<_>>();
            let got = outcomes(&repairs, &calls);
            let mut used = got.iter().flatten().map(|back| back.index).collect::<Vec<_>>();
            used.sort_unstable();
            let all = used.len();
            used.dedup();
            prop_assert_eq!(used.len(), all);
            prop_assert!(got.iter().flatten().all(|back| back.age_days >= 1));
        }
    }
}
