//! What a call cost in parts, time and trips, and how much of that the shop bears itself.
//!
//! Labour and trips go the same way: both are wages and running costs that the books have already, so what the shop bears of
//! them is taken out of there by one account of the other sign. What part of a trip is driving and what is fuel nobody knows,
//! so an account for each would be a guess; `call_borne` keeps them apart.

use super::{entry_if_any, not_negative, rest_of, turned};
use crate::books::{BooksRefusal, Entry, Posting, Role, sum};
use crate::money::Cents;

/// What the shop bears of a call at cost, or bears more or less of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Borne {
    pub parts: Cents,
    pub labour: Cents,
    pub trip: Cents,
}

impl Borne {
    /// Whether there is nothing of any kind.
    #[must_use]
    pub fn is_nothing(self) -> bool {
        self == Self::default()
    }

    /// What this is more than before; below zero for what it is less. `None` for what does not fit.
    #[must_use]
    pub fn beyond(self, before: Self) -> Option<Self> {
        Some(Self {
            parts: self.parts.checked_sub(before.parts)?,
            labour: self.labour.checked_sub(before.labour)?,
            trip: self.trip.checked_sub(before.trip)?,
        })
    }

    /// All of it together.
    ///
    /// # Errors
    /// `Overflow`.
    pub fn total(self) -> Result<Cents, BooksRefusal> {
        sum([self.parts, self.labour, self.trip])
    }
}

/// A completed call: its parts leave stock, those the shop bears as callback cost and the rest as cost of sales; labour and
/// trips it bears are callback cost taken out of what is already booked. `None` for nothing.
///
/// # Errors
/// `NegativeAmount`; `PartExceedsWhole` for more parts borne than were used; `Overflow`.
pub fn call_costs(parts: Cents, borne: Borne) -> Result<Option<Entry>, BooksRefusal> {
    not_negative("the parts' cost", parts)?;
    not_negative("the parts borne", borne.parts)?;
    not_negative("the labour borne", borne.labour)?;
    not_negative("the trips borne", borne.trip)?;
    let sold = rest_of("the parts borne", parts, borne.parts)?;
    entry_if_any(vec![
        Posting::debit(Role::PartsCostOfSales, sold),
        Posting::debit(Role::CallbackCost, borne.total()?),
        Posting::credit(Role::PartsStock, parts),
        Posting::credit(Role::LabourApplied, sum([borne.labour, borne.trip])?),
    ])
}

/// The shop bears so much more of a completed call, or less where the amounts are below zero. `None` for nothing.
///
/// # Errors
/// `Overflow`.
pub fn borne_changed(borne: Borne) -> Result<Option<Entry>, BooksRefusal> {
    let applied = sum([borne.labour, borne.trip])?;
    entry_if_any(vec![
        turned(Posting::debit(Role::CallbackCost, borne.total()?))?,
        turned(Posting::credit(Role::PartsCostOfSales, borne.parts))?,
        turned(Posting::credit(Role::LabourApplied, applied))?,
    ])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::Side;

    fn on(entry: &Entry, role: Role) -> i64 {
        let postings = entry.postings().iter();
        postings
            .filter(|posting| posting.account == role.into())
            .map(|posting| match posting.side {
                Side::Debit => posting.amount.0,
                Side::Credit => -posting.amount.0,
            })
            .sum()
    }

    fn borne(parts: i64, labour: i64, trip: i64) -> Borne {
        Borne {
            parts: Cents(parts),
            labour: Cents(labour),
            trip: Cents(trip),
        }
    }

    #[test]
    fn a_call_half_borne_splits_its_parts_and_takes_labour_and_trips_out_of_what_is_booked() {
        let entry = call_costs(Cents(2_500), borne(1_250, 4_000, 900));
        let entry = entry.unwrap().unwrap();
        assert_eq!(on(&entry, Role::PartsCostOfSales), 1_250);
        assert_eq!(on(&entry, Role::CallbackCost), 6_150);
        assert_eq!(on(&entry, Role::PartsStock), -2_500);
        assert_eq!(on(&entry, Role::LabourApplied), -4_900);
        assert_eq!(call_costs(Cents(0), Borne::default()), Ok(None));
        assert!(call_costs(Cents(10), borne(11, 0, 0)).is_err());
        assert!(call_costs(Cents(10), borne(0, 0, -1)).is_err());
    }

    #[test]
    fn what_the_shop_bears_more_or_less_moves_between_the_accounts() {
        let less = borne(0, 0, 100).beyond(borne(1_250, 4_000, 1_000));
        let less = borne_changed(less.unwrap()).unwrap().unwrap();
        assert_eq!(on(&less, Role::CallbackCost), -6_150);
        assert_eq!(on(&less, Role::PartsCostOfSales), 1_250);
        assert_eq!(on(&less, Role::LabourApplied), 4_900);
        let turned = borne_changed(borne(700, -700, 0)).unwrap().unwrap();
        assert_eq!(on(&turned, Role::CallbackCost), 0);
        assert_eq!(on(&turned, Role::PartsCostOfSales), -700);
        assert_eq!(borne_changed(Borne::default()), Ok(None));
    }
}
