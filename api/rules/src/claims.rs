//! The life of a claim on a warranty payer, and what a payment or an answer makes of it.
//!
//! Words: a claim is *ready* once nothing the programme asks for is missing, *queried* while the payer wants to know
//! more, *appealed* while the shop disputes an answer, *void* once what it asks is no longer billed. What must stay true:
//! no claim is submitted while something is missing; none moves after it is closed, save that it is taken up again where it
//! was or becomes void, and none after it is void; what is paid, still open and written down adds up to what was claimed.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::money::Cents;

mod answers;
mod codes;
mod figures;
mod settling;

pub use answers::{StepTaken, promised, unsaid};
pub use figures::{ClaimStory, PayerFigures, PayersAnswer, ReasonFigure, payer_figures};

pub use codes::{
    CodeRefusal, FailureCodes, OUTCOME_RELEASE, OutcomeCode, checked_codes, outcome_codes,
};

/// Where a claim stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ClaimState {
    Draft,
    Ready,
    Submitted,
    Queried,
    Approved,
    PartApproved,
    Denied,
    Paid,
    Appealed,
    Closed,
}

/// What happens to a claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ClaimStep {
    /// All that the programme asks for is there.
    MakeReady,
    /// Something is to be changed before it goes out.
    Reopen,
    /// It goes to the payer, for the first time, with what was asked for, or again, as to a wrong address.
    Submit,
    /// The payer asks something.
    Query,
    Approve,
    ApprovePart,
    Deny,
    /// Money came in.
    Pay,
    Appeal,
    Close,
    /// It is taken up again where it was closed, as it was closed by mistake, or money is open again.
    Resume,
    /// What it asks is billed otherwise; it never goes on.
    Void,
    /// What was written down as the payer's was not about this claim.
    Unsay,
}

/// Why a step cannot be taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
#[error("a claim that is {state:?} cannot take the step {step:?}")]
pub struct StepRefusal {
    pub state: ClaimState,
    pub step: ClaimStep,
}

impl ClaimState {
    /// The state after a step. A payer may change its mind as long as the claim is not closed, whatever it said or paid. Where
    /// a claim goes on that is taken up again, or of which something is unsaid, its state alone does not tell: see
    /// [`Self::resumed`] and [`unsaid`].
    ///
    /// # Errors
    /// [`StepRefusal`] where the life of a claim has no such step.
    ///
    /// # Source
    /// Common practice, no source.
    pub fn after(self, step: ClaimStep) -> Result<Self, StepRefusal> {
        use ClaimState as S;
        use ClaimStep as T;
        if step == T::Void {
            return Ok(S::Closed);
        }
        let next = match (self, step) {
            (S::Draft, T::MakeReady) => S::Ready,
            (S::Ready, T::Reopen) => S::Draft,
            (S::Ready | S::Submitted | S::Queried | S::Denied | S::Paid, T::Submit) => S::Submitted,
            (_, T::Query) if self.was_sent() => S::Queried,
            (_, T::Approve) if self.was_sent() => S::Approved,
            (_, T::ApprovePart) if self.was_sent() => S::PartApproved,
            (_, T::Deny) if self.was_sent() => S::Denied,
            (_, T::Pay) if self.was_sent() => S::Paid,
            (S::Approved | S::PartApproved | S::Denied | S::Paid, T::Appeal) => S::Appealed,
            (S::Closed, _) => return Err(StepRefusal { state: self, step }),
            (_, T::Close) => S::Closed,
            _ => return Err(StepRefusal { state: self, step }),
        };
        Ok(next)
    }

    /// Where a closed claim goes on once it is taken up again: where it was closed.
    ///
    /// # Errors
    /// [`StepRefusal`] for a claim that is not closed, or was closed nowhere.
    pub fn resumed(self, closed_in: Self) -> Result<Self, StepRefusal> {
        let step = ClaimStep::Resume;
        if self == Self::Closed && closed_in != Self::Closed {
            Ok(closed_in)
        } else {
            Err(StepRefusal { state: self, step })
        }
    }

    /// Whether it went to its payer and is not closed.
    #[must_use]
    pub const fn was_sent(self) -> bool {
        !matches!(self, Self::Draft | Self::Ready | Self::Closed)
    }

    /// Whether the payer answered, by words or by money, and nobody disputes that.
    #[must_use]
    pub const fn is_answered(self) -> bool {
        matches!(
            self,
            Self::Approved | Self::PartApproved | Self::Denied | Self::Paid
        )
    }

    /// Whether the payer still has to answer or to pay.
    #[must_use]
    pub const fn is_with_payer(self) -> bool {
        matches!(
            self,
            Self::Submitted | Self::Approved | Self::PartApproved | Self::Appealed
        )
    }
}

/// What a payer's line says about one claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct AdviceLine {
    pub paid: Cents,
    /// What the payer says it will not pay; none where the advice does not say.
    pub refused: Option<Cents>,
}

/// What a claim has come to so far.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClaimBalance {
    pub claimed: Cents,
    pub paid: Cents,
    /// Given up or billed to somebody else.
    pub written_down: Cents,
}

/// What a line of an advice makes of a claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "outcome")]
pub enum Settlement {
    /// All that was open is paid.
    InFull,
    /// Less than what was open; this much is left.
    Short { left: Cents },
    /// Nothing is paid, and the payer says so.
    Refused { left: Cents },
    /// More than what was open came in.
    TooMuch { over: Cents },
}

/// Why a line of an advice cannot be taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum AdviceRefusal {
    #[error("a payment below zero")]
    NegativePayment,
    #[error("neither an amount paid nor an amount refused")]
    SaysNothing,
    #[error("the amounts are too large")]
    TooLarge,
}

impl ClaimBalance {
    /// What is still open.
    ///
    /// # Errors
    /// `TooLarge`.
    pub fn open(&self) -> Result<Cents, AdviceRefusal> {
        (self.claimed.checked_sub(self.paid))
            .and_then(|left| left.checked_sub(self.written_down))
            .ok_or(AdviceRefusal::TooLarge)
    }

    /// What is open and the payer does not owe by its last answer: others may be asked for it. A payer that paid and said
    /// nothing said that it pays all of it, also where its money was lost since.
    ///
    /// # Errors
    /// `TooLarge`.
    pub fn rest(&self, promised: Option<Cents>) -> Result<Cents, AdviceRefusal> {
        let promised = promised.unwrap_or(self.claimed);
        let to_come = promised.checked_sub(self.paid);
        let to_come = to_come.ok_or(AdviceRefusal::TooLarge)?.max(Cents::ZERO);
        let rest = self.open()?.checked_sub(to_come);
        Ok(rest.ok_or(AdviceRefusal::TooLarge)?.max(Cents::ZERO))
    }

    /// What a line of an advice makes of it.
    ///
    /// # Errors
    /// `NegativePayment`, `SaysNothing` for a line of nothing without a refusal, `TooLarge`.
    pub fn settled_by(&self, line: AdviceLine) -> Result<Settlement, AdviceRefusal> {
        if line.paid.is_negative() {
            return Err(AdviceRefusal::NegativePayment);
        }
        let open = self.open()?;
        let left = open.checked_sub(line.paid).ok_or(AdviceRefusal::TooLarge)?;
        let refuses = line.refused.is_some_and(|refused| refused > Cents::ZERO);
        if line.paid == Cents::ZERO {
            return if refuses {
                Ok(Settlement::Refused { left })
            } else {
                Err(AdviceRefusal::SaysNothing)
            };
        }
        Ok(match left.0 {
            0 => Settlement::InFull,
            1.. => Settlement::Short { left },
            _ => Settlement::TooMuch {
                over: left.checked_neg().ok_or(AdviceRefusal::TooLarge)?,
            },
        })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const STATES: [ClaimState; 10] = [
        ClaimState::Draft,
        ClaimState::Ready,
        ClaimState::Submitted,
        ClaimState::Queried,
        ClaimState::Approved,
        ClaimState::PartApproved,
        ClaimState::Denied,
        ClaimState::Paid,
        ClaimState::Appealed,
        ClaimState::Closed,
    ];
    const STEPS: [ClaimStep; 13] = [
        ClaimStep::MakeReady,
        ClaimStep::Reopen,
        ClaimStep::Submit,
        ClaimStep::Query,
        ClaimStep::Approve,
        ClaimStep::ApprovePart,
        ClaimStep::Deny,
        ClaimStep::Pay,
        ClaimStep::Appeal,
        ClaimStep::Close,
        ClaimStep::Resume,
        ClaimStep::Void,
        ClaimStep::Unsay,
    ];

    #[test]
    fn a_claim_goes_from_draft_over_a_short_payment_and_an_appeal_to_closed() {
        let steps = [
            (ClaimStep::MakeReady, ClaimState::Ready),
            (ClaimStep::Submit, ClaimState::Submitted),
            (ClaimStep::Query, ClaimState::Queried),
            (ClaimStep::Submit, ClaimState::Submitted),
            (ClaimStep::ApprovePart, ClaimState::PartApproved),
            (ClaimStep::Pay, ClaimState::Paid),
            (ClaimStep::Appeal, ClaimState::Appealed),
            (ClaimStep::Pay, ClaimState::Paid),
            (ClaimStep::Close, ClaimState::Closed),
        ];
        let mut state = ClaimState::Draft;
        for (step, next) in steps {
            state = state.after(step).expect("a step");
            assert_eq!(state, next);
        }
    }

    #[test]
    fn nothing_is_submitted_before_it_is_ready_and_nothing_moves_once_closed() {
        assert!(ClaimState::Draft.after(ClaimStep::Submit).is_err());
        assert!(ClaimState::Draft.after(ClaimStep::Pay).is_err());
        assert!(ClaimState::Ready.after(ClaimStep::Approve).is_err());
        for step in STEPS.into_iter().filter(|step| *step != ClaimStep::Void) {
            let (state, closed) = (ClaimState::Closed, ClaimState::Closed.after(step));
            assert_eq!(closed, Err(StepRefusal { state, step }));
        }
    }

    #[test]
    fn a_closed_claim_goes_on_where_it_was_closed_and_no_other_is_taken_up_again() {
        for state in STATES {
            let resumed = ClaimState::Closed.resumed(state);
            assert_eq!(resumed.is_ok(), state != ClaimState::Closed);
            assert!(resumed.is_err() || resumed == Ok(state));
            let closed = state == ClaimState::Closed;
            assert_eq!(state.resumed(ClaimState::Paid).is_ok(), closed);
            assert!(state.after(ClaimStep::Resume).is_err());
            assert_eq!(state.after(ClaimStep::Void), Ok(ClaimState::Closed));
        }
    }

    #[test]
    fn a_payer_may_take_an_approval_back_and_the_shop_may_dispute_that() {
        for approved in [ClaimState::Approved, ClaimState::PartApproved] {
            let denied = approved.after(ClaimStep::Deny);
            assert_eq!(denied, Ok(ClaimState::Denied));
            let part = approved.after(ClaimStep::ApprovePart);
            assert_eq!(part, Ok(ClaimState::PartApproved));
            let appealed = approved.after(ClaimStep::Appeal);
            assert_eq!(appealed, Ok(ClaimState::Appealed));
        }
        let again = ClaimState::Submitted.after(ClaimStep::Submit);
        assert_eq!(again, Ok(ClaimState::Submitted));
        // A payer may take back what it paid, too.
        assert_eq!(
            ClaimState::Paid.after(ClaimStep::Deny),
            Ok(ClaimState::Denied)
        );
    }

    #[test]
    fn from_every_state_but_the_last_a_claim_can_be_closed_and_every_state_is_reached() {
        let mut reached = vec![ClaimState::Draft];
        let mut place = 0;
        while let Some(state) = reached.get(place).copied() {
            for next in STEPS.into_iter().filter_map(|step| state.after(step).ok()) {
                if !reached.contains(&next) {
                    reached.push(next);
                }
            }
            place += 1;
        }
        reached.sort_unstable();
        assert_eq!(reached, STATES);
        for state in STATES.into_iter().take(9) {
            assert_eq!(state.after(ClaimStep::Close), Ok(ClaimState::Closed));
        }
    }

    #[test]
    fn a_line_of_an_advice_pays_in_full_short_nothing_or_too_much() {
        let claim = ClaimBalance {
            claimed: Cents(30_000),
            paid: Cents(10_000),
            written_down: Cents(2_000),
        };
        let line = |paid, refused: Option<i64>| AdviceLine {
            paid: Cents(paid),
            refused: refused.map(Cents),
        };
        let settled = |paid, refused| claim.settled_by(line(paid, refused));
        assert_eq!(settled(18_000, None), Ok(Settlement::InFull));
        let left = Cents(3_000);
        assert_eq!(settled(15_000, Some(3_000)), Ok(Settlement::Short { left }));
        let left = Cents(18_000);
        assert_eq!(settled(0, Some(18_000)), Ok(Settlement::Refused { left }));
        let over = Cents(1);
        assert_eq!(settled(18_001, None), Ok(Settlement::TooMuch { over }));
        assert_eq!(settled(0, None), Err(AdviceRefusal::SaysNothing));
        assert_eq!(settled(-1, None), Err(AdviceRefusal::NegativePayment));
    }

    proptest! {
        #[test]
        fn what_is_paid_left_and_written_down_adds_up_to_what_was_claimed(
            claimed in 0i64..1_000_000, paid in 0i64..1_000_000, down in 0i64..1_000_000, more in 1i64..1_000_000,
        ) {
            let claim = ClaimBalance { claimed: Cents(claimed), paid: Cents(paid), written_down: Cents(down) };
            let open = claim.open()?;
            let line = AdviceLine { paid: Cents(more), refused: None };
            let left = match claim.settled_by(line)? {
                Settlement::InFull => Cents::ZERO,
                Settlement::Short { left } => left,
                Settlement::TooMuch { over } => Cents(-over.0),
                Settlement::Refused { .. } => return Err(TestCaseError::fail("something was paid")),
            };
            prop_assert_eq!(left.0 + more, open.0);
            prop_assert_eq!(open.0 + paid + down, claimed);
        }
    }
}
