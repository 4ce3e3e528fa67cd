//! Callbacks: whether a new call may be the return of an earlier one, and what its findings make of it.
//!
//! The rule proposes; the office confirms. What must stay true: a visit to fit parts on order and planned maintenance
//! are never callbacks, or every callback rate is wrong; a return on the day of completion has age 1; the last day of
//! the window is inside.

pub mod outcome;

use crate::dates::whole_days_between;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// Window in which an unplanned return counts as a callback, in days, unless the shop sets another.
pub const WINDOW_DAYS_DEFAULT: u32 = 30;

/// Key of the failure mode that stands for "no fault found".
pub const NO_FAULT_FOUND: &str = "no_fault_found";

/// Why the shop is coming.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CallKind {
    /// The customer called about a complaint.
    Unplanned,
    /// Planned maintenance.
    Maintenance,
    /// A further visit of a call still open, for instance to fit parts on order.
    SecondVisit,
}

/// A call being opened on an appliance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct NewCall {
    pub opened_on: NaiveDate,
    pub kind: CallKind,
}

/// What an earlier completed call on the same appliance was.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CompletedKind {
    Repair,
    Maintenance,
    /// Looked at and estimated, nothing repaired.
    EstimateOnly,
}

/// An earlier completed call on the same appliance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Completed {
    pub on: NaiveDate,
    pub kind: CompletedKind,
}

/// The earlier call of which a new one may be the callback.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Proposal {
    /// Place in the list that was given.
    pub index: usize,
    /// Days since completion, from 1; a return on the same day is 1.
    pub age_days: u32,
}

/// The most recent completed repair that a new call may be the callback of, if it lies inside the window.
///
/// Shape: `completed` holds the calls on the same appliance in any order; of two on one day the later in the list wins.
/// Unit: days. The window's last day is inside.
///
/// # Source
/// Callback as used in the shop's statistics (common practice, no source); worked/callbacks.json.
#[must_use]
pub fn propose(new_call: NewCall, completed: &[Completed], window_days: u32) -> Option<Proposal> {
    if new_call.kind != CallKind::Unplanned {
        return None;
    }
    completed
        .iter()
        .enumerate()
        .filter(|(_, earlier)| earlier.kind == CompletedKind::Repair)
        .filter_map(|(index, earlier)| {
            Some(Proposal {
                index,
                age_days: age_days(earlier.on, new_call.opened_on)?,
            })
        })
        .filter(|proposal| proposal.age_days <= window_days)
        // By the day itself, not by the age: yesterday and today both have age 1.
        .max_by_key(|proposal| {
            completed
                .get(proposal.index)
                .map(|earlier| (earlier.on, proposal.index))
        })
}

/// Age of a return in days, at least 1; `None` if it came before the completion.
fn age_days(completed_on: NaiveDate, opened_on: NaiveDate) -> Option<u32> {
    u32::try_from(whole_days_between(completed_on, opened_on))
        .ok()
        .map(|days| days.max(1))
}

/// Where the technician puts the cause of a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// How the machine was used or loaded.
    Use,
    /// Something the earlier repair did or left undone.
    EarlierRepair,
    /// Anything else, or not known.
    Other,
}

impl Cause {
    /// Where the words of a finding put its cause: they begin with "use" or "misuse", or name the earlier repair.
    ///
    /// # Example
    /// ```
    /// use nameplate_rules::callback::Cause;
    /// assert_eq!(Cause::told("Use: coins in the filter"), Cause::Use);
    /// assert_eq!(Cause::told("Loose since the earlier repair"), Cause::EarlierRepair);
    /// assert_eq!(Cause::told("Used up"), Cause::Other);
    /// ```
    #[must_use]
    pub fn told(words: &str) -> Self {
        let words = words.to_lowercase();
        let first = words
            .split(|c: char| !c.is_alphanumeric())
            .find(|word| !word.is_empty());
        if matches!(first, Some("use" | "misuse")) {
            Self::Use
        } else if ["earlier repair", "previous repair", "last repair"]
            .iter()
            .any(|named| words.contains(named))
        {
            Self::EarlierRepair
        } else {
            Self::Other
        }
    }
}

/// What was found wrong. Keys are those of the shop's lists.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    pub component: String,
    pub mode: String,
    /// Which of several like parts, such as "left front".
    pub position: Option<String>,
    pub cause: Cause,
}

/// What a confirmed callback turned out to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Classification {
    /// The same component failed the same way again: workmanship or part.
    SameFailure,
    /// The earlier work or its component had a hand in it.
    Related,
    Unrelated,
    /// The customer's use, not the work.
    Use,
    NoFaultFound,
}

/// Suggests what a callback was, from the findings of both calls. `None` while the new call has no finding.
///
/// Shape, in this order: only "no fault found" recorded; all real findings caused by use; same component, mode and
/// position (a position missing on either side fits any) not caused by use; same component, or caused by the earlier
/// repair; otherwise unrelated. A person decides.
#[must_use]
pub fn classify(earlier: &[Finding], new: &[Finding]) -> Option<Classification> {
    if new.is_empty() {
        return None;
    }
    let real: Vec<&Finding> = new
        .iter()
        .filter(|finding| finding.mode != NO_FAULT_FOUND)
        .collect();
    let not_by_use = || real.iter().filter(|finding| finding.cause != Cause::Use);
    Some(if real.is_empty() {
        Classification::NoFaultFound
    } else if not_by_use().next().is_none() {
        Classification::Use
    } else if not_by_use().any(|finding| earlier.iter().any(|e| is_same_failure(e, finding))) {
        Classification::SameFailure
    } else if not_by_use().any(|finding| is_related(earlier, finding)) {
        Classification::Related
    } else {
        Classification::Unrelated
    })
}

fn is_same_failure(earlier: &Finding, new: &Finding) -> bool {
    let position_fits = match (&earlier.position, &new.position) {
        (Some(a), Some(b)) => a == b,
        _ => true,
    };
    earlier.component == new.component && earlier.mode == new.mode && position_fits
}

fn is_related(earlier: &[Finding], new: &Finding) -> bool {
    new.cause == Cause::EarlierRepair
        || earlier
            .iter()
            .any(|e| e.mode != NO_FAULT_FOUND && e.component == new.component)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::worked::rows;
    use proptest::prelude::*;

    #[derive(Deserialize)]
    struct Case {
        new_call: NewCall,
        completed: Vec<Completed>,
        window_days: u32,
    }

    fn finding(component: &str, mode: &str, position: Option<&str>, cause: Cause) -> Finding {
        Finding {
            component: component.into(),
            mode: mode.into(),
            position: position.map(Into::into),
            cause,
        }
    }

    fn burnt(position: Option<&str>, cause: Cause) -> Finding {
        finding("burner_terminal", "burnt", position, cause)
    }

    #[test]
    fn worked_calls_are_proposed_to_the_right_earlier_call() {
        for row in
            rows::<Case, Option<Proposal>>(include_str!("../../../fixtures/worked/callbacks.json"))
        {
            let got = propose(
                row.input.new_call,
                &row.input.completed,
                row.input.window_days,
            );
            assert_eq!(got, row.expected, "{:?}", row.input.completed);
        }
    }

    #[test]
    fn of_yesterday_and_today_the_call_of_today_is_proposed() {
        let on = |text: &str| Completed {
            on: text.parse().expect("a day"),
            kind: CompletedKind::Repair,
        };
        let new_call = NewCall {
            opened_on: "2025-03-10".parse().expect("a day"),
            kind: CallKind::Unplanned,
        };
        assert_eq!(
            propose(new_call, &[on("2025-03-10"), on("2025-03-09")], 30),
            Some(Proposal {
                index: 0,
                age_days: 1
            })
        );
    }

    #[test]
    fn the_same_terminal_burnt_again_is_the_same_failure() {
        let earlier = [burnt(Some("left front"), Cause::Other)];
        assert_eq!(
            classify(&earlier, &[burnt(Some("left front"), Cause::Other)]),
            Some(Classification::SameFailure)
        );
        assert_eq!(
            classify(&earlier, &[burnt(None, Cause::Other)]),
            Some(Classification::SameFailure)
        );
    }

    #[test]
    fn another_position_or_another_mode_of_the_same_component_is_related() {
        let earlier = [burnt(Some("left front"), Cause::Other)];
        assert_eq!(
            classify(&earlier, &[burnt(Some("right rear"), Cause::Other)]),
            Some(Classification::Related)
        );
        let loose = finding("burner_terminal", "loose", None, Cause::Other);
        assert_eq!(classify(&earlier, &[loose]), Some(Classification::Related));
    }

    #[test]
    fn a_finding_caused_by_the_earlier_repair_is_related_whatever_the_component() {
        let earlier = [burnt(None, Cause::Other)];
        let hose = |cause| [finding("fill_hose", "leaking", None, cause)];
        assert_eq!(
            classify(&earlier, &hose(Cause::EarlierRepair)),
            Some(Classification::Related)
        );
        assert_eq!(
            classify(&earlier, &hose(Cause::Other)),
            Some(Classification::Unrelated)
        );
    }

    #[test]
    fn use_counts_only_when_every_real_finding_is_by_use() {
        let earlier = [finding("drain_pump", "blocked", None, Cause::Other)];
        let coin = finding("drain_pump", "blocked", None, Cause::Use);
        assert_eq!(
            classify(&earlier, std::slice::from_ref(&coin)),
            Some(Classification::Use)
        );
        let worn = finding("drain_pump", "blocked", None, Cause::Other);
        assert_eq!(
            classify(&earlier, &[coin, worn]),
            Some(Classification::SameFailure)
        );
    }

    #[test]
    fn nothing_found_and_nothing_recorded_are_two_things() {
        let earlier = [burnt(None, Cause::Other)];
        assert_eq!(classify(&earlier, &[]), None);
        let none = finding("burner_terminal", NO_FAULT_FOUND, None, Cause::Other);
        assert_eq!(
            classify(&earlier, std::slice::from_ref(&none)),
            Some(Classification::NoFaultFound)
        );
        assert_eq!(
            classify(std::slice::from_ref(&none), &[burnt(None, Cause::Other)]),
            Some(Classification::Unrelated)
        );
    }

    proptest! {
        #[test]
        fn a_longer_window_never_loses_a_proposal(ages in prop::collection::vec(0u32..60, 0..6), window_days in 1u32..60) {
            let opened_on: NaiveDate = "2025-06-30".parse().expect("a day");
            let completed: Vec<Completed> = ages
                .iter()
                .map(|days| Completed { on: opened_on - chrono::Days::new(u64::from(*days)), kind: CompletedKind::Repair })
                .collect();
            let new_call = NewCall { opened_on, kind: CallKind::Unplanned };
            if let Some(proposal) = propose(new_call, &completed, window_days) {
                prop_assert_eq!(propose(new_call, &completed, window_days + 1), Some(proposal));
                prop_assert!(proposal.age_days >= 1 && proposal.age_days <= window_days);
            }
        }
    }
}
