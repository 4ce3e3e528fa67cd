//! Estimates: their life cycle, their frozen content, and when more work needs a fresh consent.
//!
//! An estimate is an offer in law. Once sent it must not change under the customer's eyes, so its
//! content is frozen, checked to add up and hashed; a change makes the next revision.
//! What must stay true: each act is possible in one state only, nothing is accepted after its last day,
//! and lines, discounts and taxes add up to the totals shown.

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal, power_of_ten};
use crate::percent::Percent;

pub use around::{Around, Picture};
pub use content::{
    ApplianceBlock, ChangesBlock, Content, ContentRefusal, CustomerBlock, OfferOption, Rating,
    ShopBlock, TaxLevel, TotalKind,
};
pub use line::{Condition, Line, Taxed};
pub use printed::{Printed, PrintedAs, Shown};

mod around;
mod content;
pub mod deposit;
pub mod difference;
mod line;
mod printed;
pub mod reminders;
pub mod repair_or_replace;

/// Where an estimate stands.
///
/// Draft, then sent, then accepted, declined, expired or superseded; an accepted one is invoiced.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EstimateState {
    /// Being written; may still change.
    Draft,
    /// With the customer; frozen.
    Sent,
    /// An option was accepted.
    Accepted,
    /// Declined as a whole.
    Declined,
    /// Its last day passed without an answer.
    Expired,
    /// A later revision took its place.
    Superseded,
    /// Billed.
    Invoiced,
}

/// Why an act on an estimate is refused. The variants are stable: screens and clients tell them apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum EstimateRefusal {
    /// Only a draft can be changed or sent.
    #[error("the estimate has left draft; make a new revision to change it")]
    NotDraft { state: EstimateState },
    /// Only a sent estimate can be answered, expire or be superseded.
    #[error("the estimate has not been sent yet")]
    NotSent,
    /// The customer has answered before.
    #[error("the estimate was answered before")]
    AlreadyAnswered { state: EstimateState },
    /// Its last day has passed.
    #[error("the estimate was valid until {valid_until}")]
    Expired { valid_until: NaiveDate },
    /// Its last day has not passed.
    #[error("the estimate is still valid until {valid_until}")]
    NotYetExpired { valid_until: NaiveDate },
    /// A later revision took its place.
    #[error("a newer revision has taken this estimate's place")]
    Superseded,
    /// It was billed.
    #[error("the estimate has been invoiced")]
    AlreadyInvoiced,
    /// Only an accepted estimate can be billed.
    #[error("the estimate has not been accepted")]
    NotAccepted { state: EstimateState },
    /// It would expire before it is sent.
    #[error("the estimate would end on {valid_until}, before it is sent on {sent_on}")]
    EndsBeforeSent {
        sent_on: NaiveDate,
        valid_until: NaiveDate,
    },
}

impl EstimateState {
    /// Refuses unless lines, prices and texts may still be changed.
    ///
    /// # Errors
    /// `NotDraft`.
    pub const fn edit(self) -> Result<Self, EstimateRefusal> {
        match self {
            Self::Draft => Ok(self),
            state => Err(EstimateRefusal::NotDraft { state }),
        }
    }

    /// Sends a draft. An estimate may be valid for the day it is sent only.
    ///
    /// # Errors
    /// `NotDraft`, `EndsBeforeSent`.
    pub fn send(self, sent_on: NaiveDate, valid_until: NaiveDate) -> Result<Self, EstimateRefusal> {
        self.edit()?;
        if valid_until < sent_on {
            return Err(EstimateRefusal::EndsBeforeSent {
                sent_on,
                valid_until,
            });
        }
        Ok(Self::Sent)
    }

    /// Accepts a sent estimate, up to and on its last day.
    ///
    /// # Errors
    /// `NotSent`, `AlreadyAnswered`, `Superseded`, `AlreadyInvoiced`, `Expired`.
    pub fn accept(self, on: NaiveDate, valid_until: NaiveDate) -> Result<Self, EstimateRefusal> {
        self.answerable(on, valid_until)?;
        Ok(Self::Accepted)
    }

    /// Declines a sent estimate, up to and on its last day.
    ///
    /// # Errors
    /// As [`EstimateState::accept`].
    pub fn decline(self, on: NaiveDate, valid_until: NaiveDate) -> Result<Self, EstimateRefusal> {
        self.answerable(on, valid_until)?;
        Ok(Self::Declined)
    }

    /// The state on an earlier day, for an answer given then and written down since: what has lapsed was still with the
    /// customer up to and on its last day.
    #[must_use]
    pub fn on_day(self, on: NaiveDate, valid_until: NaiveDate) -> Self {
        match self {
            Self::Expired if on <= valid_until => Self::Sent,
            state => state,
        }
    }

    /// Lets a sent estimate lapse, on a day after its last.
    ///
    /// # Errors
    /// `NotYetExpired`, else as [`EstimateState::accept`].
    pub fn expire(self, on: NaiveDate, valid_until: NaiveDate) -> Result<Self, EstimateRefusal> {
        self.open(valid_until)?;
        if on <= valid_until {
            return Err(EstimateRefusal::NotYetExpired { valid_until });
        }
        Ok(Self::Expired)
    }

    /// Gives way to the next revision. Anything not billed can: a draft that was never sent, an
    /// accepted estimate too.
    ///
    /// # Errors
    /// `Superseded`, `AlreadyInvoiced`.
    pub const fn supersede(self) -> Result<Self, EstimateRefusal> {
        match self {
            Self::Draft | Self::Sent | Self::Accepted | Self::Declined | Self::Expired => {
                Ok(Self::Superseded)
            }
            Self::Superseded => Err(EstimateRefusal::Superseded),
            Self::Invoiced => Err(EstimateRefusal::AlreadyInvoiced),
        }
    }

    /// Another estimate takes the place of one whose invoice was taken back.
    ///
    /// # Errors
    /// As [`Self::supersede`] for every state but a billed one.
    pub const fn give_way(self) -> Result<Self, EstimateRefusal> {
        match self {
            Self::Invoiced => Ok(Self::Superseded),
            other => other.supersede(),
        }
    }

    /// Bills an accepted estimate.
    ///
    /// # Errors
    /// `NotSent`, `NotAccepted`, `Superseded`, `AlreadyInvoiced`.
    pub const fn invoice(self) -> Result<Self, EstimateRefusal> {
        match self {
            Self::Accepted => Ok(Self::Invoiced),
            Self::Draft => Err(EstimateRefusal::NotSent),
            Self::Superseded => Err(EstimateRefusal::Superseded),
            Self::Invoiced => Err(EstimateRefusal::AlreadyInvoiced),
            Self::Sent | Self::Declined | Self::Expired => {
                Err(EstimateRefusal::NotAccepted { state: self })
            }
        }
    }

    fn answerable(self, on: NaiveDate, valid_until: NaiveDate) -> Result<(), EstimateRefusal> {
        self.open(valid_until)?;
        if on > valid_until {
            return Err(EstimateRefusal::Expired { valid_until });
        }
        Ok(())
    }

    /// Refuses whatever is not waiting for an answer.
    const fn open(self, valid_until: NaiveDate) -> Result<(), EstimateRefusal> {
        match self {
            Self::Sent => Ok(()),
            Self::Draft => Err(EstimateRefusal::NotSent),
            Self::Expired => Err(EstimateRefusal::Expired { valid_until }),
            Self::Superseded => Err(EstimateRefusal::Superseded),
            Self::Invoiced => Err(EstimateRefusal::AlreadyInvoiced),
            Self::Accepted | Self::Declined => {
                Err(EstimateRefusal::AlreadyAnswered { state: self })
            }
        }
    }
}

/// How far a bill may go over what was accepted without a fresh consent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tolerance {
    /// How much over, per hundred of the accepted total.
    pub percent: Percent,
    /// Whether the limit itself is still allowed.
    pub limit_inside: bool,
}

impl Default for Tolerance {
    /// Nothing over, the accepted total itself allowed.
    fn default() -> Self {
        Self {
            percent: Percent::ZERO,
            limit_inside: true,
        }
    }
}

/// Whether a bill needs a recorded consent, because it goes over what was accepted.
///
/// Both amounts are before tax, or both with tax where the local rule counts it. A bill at or
/// below the accepted total never needs one. The limit is compared exactly; nothing is rounded.
///
/// # Errors
/// `MoneyRefusal::TooLarge` if the exact limit does not fit.
/// # Source
/// 16 CCR 2722 (California), MCL 445.833 (Michigan), R152-11-5 (Utah); fixtures/worked/consent.json.
pub fn consent_needed(
    accepted: Cents,
    bill: Cents,
    tolerance: Tolerance,
) -> Result<bool, MoneyRefusal> {
    if bill <= accepted {
        return Ok(false);
    }
    // Compared as hundredths of the accepted total, lifted to whole numbers by the rate's scale.
    let per_hundred: Decimal = tolerance.percent.per_hundred();
    let unit = power_of_ten(per_hundred.scale())?;
    let hundred = unit.checked_mul(100).ok_or(MoneyRefusal::TooLarge)?;
    let allowed = hundred
        .checked_add(per_hundred.mantissa())
        .and_then(|factor| factor.checked_mul(i128::from(accepted.0)))
        .ok_or(MoneyRefusal::TooLarge)?;
    let billed = hundred
        .checked_mul(i128::from(bill.0))
        .ok_or(MoneyRefusal::TooLarge)?;
    Ok(billed > allowed || (billed == allowed && !tolerance.limit_inside))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::worked::rows;
    use EstimateState::{Accepted, Declined, Draft, Expired, Invoiced, Sent, Superseded};

    const ALL: [EstimateState; 7] = [
        Draft, Sent, Accepted, Declined, Expired, Superseded, Invoiced,
    ];

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[derive(Deserialize)]
    #[expect(
        clippy::struct_field_names,
        reason = "the field is the bill itself, as the fixture calls it"
    )]
    struct Bill {
        accepted: Cents,
        bill: Cents,
        percent: Percent,
        limit_inside: bool,
    }

    #[test]
    fn consent_is_needed_exactly_beyond_the_limit_of_each_law() {
        for row in rows::<Bill, bool>(include_str!("../../../fixtures/worked/consent.json")) {
            let Bill {
                accepted,
                bill,
                percent,
                limit_inside,
            } = row.input;
            let tolerance = Tolerance {
                percent,
                limit_inside,
            };
            assert_eq!(
                consent_needed(accepted, bill, tolerance),
                Ok(row.expected),
                "{bill}: {}",
                row.source
            );
        }
    }

    #[test]
    fn an_estimate_can_be_answered_on_its_last_day_and_not_the_day_after() {
        let last = day("2025-03-31");
        assert_eq!(Sent.accept(last, last), Ok(Accepted));
        assert_eq!(Sent.decline(last, last), Ok(Declined));
        let refusal = Err(EstimateRefusal::Expired { valid_until: last });
        assert_eq!(Sent.accept(day("2025-04-01"), last), refusal);
        assert_eq!(Sent.decline(day("2025-04-01"), last), refusal);
        assert_eq!(
            Sent.expire(last, last),
            Err(EstimateRefusal::NotYetExpired { valid_until: last })
        );
        assert_eq!(Sent.expire(day("2025-04-01"), last), Ok(Expired));
    }

    #[test]
    fn each_wrong_state_is_refused_by_its_own_name() {
        let last = day("2025-03-31");
        let accept = |state: EstimateState| state.accept(last, last).unwrap_err();
        assert_eq!(accept(Draft), EstimateRefusal::NotSent);
        assert_eq!(
            accept(Accepted),
            EstimateRefusal::AlreadyAnswered { state: Accepted }
        );
        assert_eq!(
            accept(Declined),
            EstimateRefusal::AlreadyAnswered { state: Declined }
        );
        assert_eq!(
            accept(Expired),
            EstimateRefusal::Expired { valid_until: last }
        );
        assert_eq!(accept(Superseded), EstimateRefusal::Superseded);
        assert_eq!(accept(Invoiced), EstimateRefusal::AlreadyInvoiced);
    }

    #[test]
    fn only_a_draft_can_be_changed_or_sent() {
        let on = day("2025-03-14");
        for state in ALL.into_iter().filter(|state| *state != Draft) {
            assert_eq!(state.send(on, on), Err(EstimateRefusal::NotDraft { state }));
            assert_eq!(state.edit(), Err(EstimateRefusal::NotDraft { state }));
        }
        assert_eq!(Draft.send(on, on), Ok(Sent));
        let valid_until = day("2025-03-13");
        assert_eq!(
            Draft.send(on, valid_until),
            Err(EstimateRefusal::EndsBeforeSent {
                sent_on: on,
                valid_until
            })
        );
    }

    #[test]
    fn only_an_accepted_estimate_is_billed_and_a_billed_one_stays() {
        let billed = ALL.map(|state| state.invoice().is_ok());
        assert_eq!(billed, ALL.map(|state| state == Accepted));
        let replaced = ALL.map(|state| state.supersede().is_ok());
        assert_eq!(replaced, [true, true, true, true, true, false, false]);
        assert_eq!(
            Sent.invoice(),
            Err(EstimateRefusal::NotAccepted { state: Sent })
        );
    }

    proptest! {
        #[test]
        fn a_bill_within_the_accepted_total_never_needs_consent(
            accepted in 0_i64..1_000_000, less in 0_i64..1_000_000, tenths in 0_i64..1_000, limit_inside: bool,
        ) {
            let percent = Percent::new(Decimal::new(tenths, 1)).unwrap();
            let tolerance = Tolerance { percent, limit_inside };
            let needed = consent_needed(Cents(accepted), Cents(accepted - less), tolerance);
            prop_assert_eq!(needed, Ok(false));
        }
    }
}
