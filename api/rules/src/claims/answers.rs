//! What the steps of a claim, one after another, say that its payer pays.

use super::{ClaimState, ClaimStep};
use crate::money::Cents;

/// A step as it was taken; `K` names what money or words are told by, as a line of an advice or a payment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StepTaken<K> {
    pub step: ClaimStep,
    /// Where it led.
    pub state: ClaimState,
    /// Approved, refused or paid.
    pub cents: Option<Cents>,
    /// What it was taken by, or what it unsays.
    pub by: Option<K>,
}

/// Where a claim stands once that by which its last steps were taken turns out not to be about it: where it stood before them,
/// or where it stands now if something happened since. `steps` are all of the claim, in order.
#[must_use]
pub fn unsaid<K: Copy + PartialEq>(steps: &[StepTaken<K>], by: K) -> Option<ClaimState> {
    let now = steps.last()?.state;
    let its = (steps.iter().rev())
        .take_while(|taken| taken.by == Some(by) && taken.step != ClaimStep::Unsay)
        .count();
    let before = steps.len().checked_sub(its + 1);
    Some(
        before
            .and_then(|at| steps.get(at))
            .map_or(now, |step| step.state),
    )
}

/// What the payer's last answer says that it pays of a claim, whatever came in; none while it said nothing. `steps` are all of
/// the claim, in order.
///
/// # Source
/// Common practice, no source.
#[must_use]
pub fn promised<K: Copy + PartialEq>(claimed: Cents, steps: &[StepTaken<K>]) -> Option<Cents> {
    let mut now = None;
    // What was promised before each of what steps were taken by, the latest first.
    let mut before: Vec<(K, Option<Cents>)> = Vec::new();
    let mut last = None;
    for taken in steps {
        let by = taken.by.filter(|_| taken.step != ClaimStep::Unsay);
        if let Some(by) = by.filter(|_| by != last) {
            before.insert(0, (by, now));
        }
        last = by;
        now = match taken.step {
            ClaimStep::Approve => Some(claimed),
            ClaimStep::ApprovePart => taken.cents,
            ClaimStep::Deny => Some(Cents::ZERO),
            // Asked anew, or disputed.
            ClaimStep::Submit | ClaimStep::Appeal => None,
            ClaimStep::Unsay => {
                let known = before.iter().find(|(by, _)| Some(*by) == taken.by);
                known.map_or(now, |(_, promised)| *promised)
            }
            _ => now,
        };
    }
    now
}

#[cfg(test)]
mod tests {
    use super::*;

    const CLAIMED: Cents = Cents(10_000);

    fn taken(step: ClaimStep, state: ClaimState, cents: i64, by: Option<i64>) -> StepTaken<i64> {
        StepTaken {
            step,
            state,
            cents: (cents > 0).then_some(Cents(cents)),
            by,
        }
    }

    #[test]
    fn the_last_answer_says_what_is_promised_and_what_is_asked_anew_has_none() {
        use ClaimState as S;
        use ClaimStep as T;
        let mut steps = vec![taken(T::Submit, S::Submitted, 0, None)];
        assert_eq!(promised(CLAIMED, &steps), None);
        for (step, state, cents, expected) in [
            (T::ApprovePart, S::PartApproved, 8_000, Some(Cents(8_000))),
            (T::Pay, S::Paid, 8_000, Some(Cents(8_000))),
            (T::Deny, S::Denied, 0, Some(Cents::ZERO)),
            (T::Appeal, S::Appealed, 0, None),
            (T::Query, S::Queried, 0, None),
            (T::Approve, S::Approved, 10_000, Some(CLAIMED)),
        ] {
            steps.push(taken(step, state, cents, None));
            assert_eq!(promised(CLAIMED, &steps), expected);
        }
    }

    #[test]
    fn a_line_that_was_not_about_a_claim_leaves_it_where_it_was_and_its_promise_as_it_was() {
        use ClaimState as S;
        use ClaimStep as T;
        let mut steps = vec![
            taken(T::Submit, S::Submitted, 0, None),
            taken(T::ApprovePart, S::PartApproved, 9_000, None),
            taken(T::ApprovePart, S::PartApproved, 6_000, Some(7)),
            taken(T::Pay, S::Paid, 6_000, Some(7)),
        ];
        assert_eq!(promised(CLAIMED, &steps), Some(Cents(6_000)));
        assert_eq!(unsaid(&steps, 7), Some(S::PartApproved));
        steps.push(taken(T::Unsay, S::PartApproved, 0, Some(7)));
        assert_eq!(promised(CLAIMED, &steps), Some(Cents(9_000)));
    }

    #[test]
    fn what_happened_since_stands() {
        use ClaimState as S;
        use ClaimStep as T;
        let steps = [
            taken(T::Submit, S::Submitted, 0, None),
            taken(T::Deny, S::Denied, 0, Some(7)),
            taken(T::Appeal, S::Appealed, 0, None),
        ];
        assert_eq!(unsaid(&steps, 7), Some(S::Appealed));
        assert_eq!(unsaid(&steps[..2], 7), Some(S::Submitted));
        assert_eq!(unsaid::<i64>(&[], 7), None);
    }
}
