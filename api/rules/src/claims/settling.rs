//! The steps by which a line of a payer's advice moves a claim on.

use super::{ClaimState, ClaimStep, Settlement, StepRefusal};
use crate::money::Cents;

impl ClaimState {
    /// Whether an advice may be about a claim in this state.
    #[must_use]
    pub fn takes_money(self) -> bool {
        self.after(ClaimStep::Pay).is_ok()
    }

    /// The steps that a line of an advice takes, in order. What is paid short is an answer, too, unless the claim was paid or
    /// denied before; a refusal takes back what was approved. One of a claim that was denied already, or of which nothing
    /// is open, is none of its own, as the line itself is on record.
    ///
    /// # Errors
    /// [`StepRefusal`] for a claim that was not submitted, or is closed.
    ///
    /// # Source
    /// Common practice, no source.
    pub fn steps_by(self, settlement: Settlement) -> Result<Vec<ClaimStep>, StepRefusal> {
        self.after(ClaimStep::Pay)?;
        Ok(match settlement {
            Settlement::Short { .. } if !matches!(self, Self::Denied | Self::Paid) => {
                vec![ClaimStep::ApprovePart, ClaimStep::Pay]
            }
            Settlement::InFull | Settlement::TooMuch { .. } | Settlement::Short { .. } => {
                vec![ClaimStep::Pay]
            }
            Settlement::Refused { left } if self != Self::Denied && left > Cents::ZERO => {
                vec![ClaimStep::Deny]
            }
            Settlement::Refused { .. } => Vec::new(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Settlement; 4] = [
        Settlement::InFull,
        Settlement::Short { left: Cents(1) },
        Settlement::Refused { left: Cents(1) },
        Settlement::TooMuch { over: Cents(1) },
    ];
    const TAKING: [ClaimState; 7] = [
        ClaimState::Submitted,
        ClaimState::Queried,
        ClaimState::Approved,
        ClaimState::PartApproved,
        ClaimState::Denied,
        ClaimState::Paid,
        ClaimState::Appealed,
    ];

    #[test]
    fn every_step_of_every_line_is_one_that_the_life_of_a_claim_has() {
        for state in TAKING {
            assert!(state.takes_money());
            for settlement in ALL {
                let mut now = state;
                for step in state.steps_by(settlement).expect("steps") {
                    now = now.after(step).expect("a step of its life");
                }
                let is_paid = !matches!(settlement, Settlement::Refused { .. });
                assert_eq!(now == ClaimState::Paid, is_paid);
                assert_eq!(now == ClaimState::Denied, !is_paid);
            }
        }
    }

    #[test]
    fn a_claim_that_was_not_submitted_or_is_closed_takes_no_line() {
        for state in [ClaimState::Draft, ClaimState::Ready, ClaimState::Closed] {
            assert!(!state.takes_money());
            for settlement in ALL {
                assert!(state.steps_by(settlement).is_err());
            }
        }
    }

    #[test]
    fn an_appeal_that_is_refused_again_is_a_denial_and_a_short_answer_is_approved_in_part() {
        let refused = Settlement::Refused { left: Cents(5) };
        let short = Settlement::Short { left: Cents(5) };
        assert_eq!(
            ClaimState::Appealed.steps_by(refused),
            Ok(vec![ClaimStep::Deny])
        );
        assert_eq!(
            ClaimState::Submitted.steps_by(short),
            Ok(vec![ClaimStep::ApprovePart, ClaimStep::Pay])
        );
        for approved in [ClaimState::Approved, ClaimState::PartApproved] {
            let part = vec![ClaimStep::ApprovePart, ClaimStep::Pay];
            assert_eq!(approved.steps_by(short), Ok(part));
            assert_eq!(approved.steps_by(refused), Ok(vec![ClaimStep::Deny]));
        }
        assert_eq!(ClaimState::Denied.steps_by(refused), Ok(Vec::new()));
        assert_eq!(
            ClaimState::Paid.steps_by(refused),
            Ok(vec![ClaimStep::Deny])
        );
        let nothing = Settlement::Refused { left: Cents::ZERO };
        assert_eq!(ClaimState::Paid.steps_by(nothing), Ok(Vec::new()));
    }
}
