//! What a call cost in parts and time, and how much of that the shop bears itself.

use super::{entry_if_any, not_negative, rest_of, turned};
use crate::books::{BooksRefusal, Entry, Posting, Role, sum};
use crate::money::Cents;

/// A completed call: its parts leave stock, those the shop bears as callback cost and the rest as cost of sales; labour
/// it bears is callback cost taken out of the wages already booked. `None` for nothing.
///
/// # Errors
/// `NegativeAmount`; `PartExceedsWhole` for more parts borne than were used; `Overflow`.
pub fn call_costs(
    parts: Cents,
    (parts_borne, labour_borne): (Cents, Cents),
) -> Result<Option<Entry>, BooksRefusal> {
    not_negative("the parts' cost", parts)?;
    not_negative("the parts borne", parts_borne)?;
    not_negative("the labour borne", labour_borne)?;
    let sold = rest_of("the parts borne", parts, parts_borne)?;
    entry_if_any(vec![
        Posting::debit(Role::PartsCostOfSales, sold),
        Posting::debit(Role::CallbackCost, sum([parts_borne, labour_borne])?),
        Posting::credit(Role::PartsStock, parts),
        Posting::credit(Role::LabourApplied, labour_borne),
    ])
}

/// The shop bears so much more of a completed call, or less where the amounts are below zero. `None` for nothing.
///
/// # Errors
/// `Overflow`.
pub fn borne_changed(parts: Cents, labour: Cents) -> Result<Option<Entry>, BooksRefusal> {
    entry_if_any(vec![
        turned(Posting::debit(Role::CallbackCost, sum([parts, labour])?))?,
        turned(Posting::credit(Role::PartsCostOfSales, parts))?,
        turned(Posting::credit(Role::LabourApplied, labour))?,
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

    #[test]
    fn a_call_half_borne_splits_its_parts_and_takes_labour_out_of_wages() {
        let borne = (Cents(1_250), Cents(4_000));
        let entry = call_costs(Cents(2_500), borne).unwrap().unwrap();
        assert_eq!(on(&entry, Role::PartsCostOfSales), 1_250);
        assert_eq!(on(&entry, Role::CallbackCost), 5_250);
        assert_eq!(on(&entry, Role::PartsStock), -2_500);
        assert_eq!(on(&entry, Role::LabourApplied), -4_000);
        assert_eq!(call_costs(Cents(0), (Cents(0), Cents(0))), Ok(None));
        assert!(call_costs(Cents(10), (Cents(11), Cents(0))).is_err());
    }

    #[test]
    fn what_the_shop_bears_more_or_less_moves_between_the_accounts() {
        let less = borne_changed(Cents(-1_250), Cents(-4_000))
            .unwrap()
            .unwrap();
        assert_eq!(on(&less, Role::CallbackCost), -5_250);
        assert_eq!(on(&less, Role::PartsCostOfSales), 1_250);
        assert_eq!(on(&less, Role::LabourApplied), 4_000);
        let turned = borne_changed(Cents(700), Cents(-700)).unwrap().unwrap();
        assert_eq!(on(&turned, Role::CallbackCost), 0);
        assert_eq!(on(&turned, Role::PartsCostOfSales), -700);
        assert_eq!(borne_changed(Cents(0), Cents(0)), Ok(None));
    }
}
