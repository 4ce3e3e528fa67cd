//! What a month does to the warranty reserve.

use super::{entry_if_any, not_negative, warranty_accrued};
use crate::books::{BooksRefusal, Entry, Posting, Role};
use crate::money::Cents;

/// A month of the warranty reserve: what callbacks cost is taken out of it, and it is brought to what open promises are
/// expected to cost, by an expense, or by taking expense back where too much was set aside. `None` for a month without
/// either.
///
/// # Errors
/// `NegativeAmount` for what was used; `Overflow`.
///
/// # Source
/// FASB ASC 460-10-50-8(c).
pub fn reserve_moved(used: Cents, expense: Cents) -> Result<Option<Entry>, BooksRefusal> {
    not_negative("what was used", used)?;
    let mut postings = vec![
        Posting::debit(Role::WarrantyReserve, used),
        Posting::credit(Role::CallbackCost, used),
    ];
    if expense > Cents::ZERO {
        postings.extend(warranty_accrued(expense)?.into_postings());
    } else if expense < Cents::ZERO {
        let back = expense.checked_neg().ok_or(BooksRefusal::Overflow)?;
        postings.extend(warranty_accrued(back)?.reversed().into_postings());
    }
    postings.retain(|posting| posting.amount != Cents::ZERO);
    entry_if_any(postings)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::Side;

    /// Account, side and amount of each posting.
    fn told(entry: Option<Entry>) -> Vec<(Role, Side, i64)> {
        let postings = entry.map(Entry::into_postings).unwrap_or_default();
        let role = |posting: &Posting| {
            [
                Role::WarrantyReserve,
                Role::WarrantyExpense,
                Role::CallbackCost,
            ]
            .into_iter()
            .find(|role| posting.account == (*role).into())
            .expect("one of the three")
        };
        (postings.iter())
            .map(|posting| (role(posting), posting.side, posting.amount.0))
            .collect()
    }

    #[test]
    fn a_month_takes_what_was_used_and_sets_aside_what_is_to_come() {
        let moved = reserve_moved(Cents(3_000), Cents(3_600)).expect("an entry");
        let expected = [
            (Role::WarrantyReserve, Side::Debit, 3_000),
            (Role::CallbackCost, Side::Credit, 3_000),
            (Role::WarrantyExpense, Side::Debit, 3_600),
            (Role::WarrantyReserve, Side::Credit, 3_600),
        ];
        assert_eq!(told(moved), expected);
    }

    #[test]
    fn too_much_set_aside_comes_back_and_a_month_without_either_has_no_entry() {
        let falls = reserve_moved(Cents::ZERO, Cents(-1_579)).expect("an entry");
        let expected = [
            (Role::WarrantyExpense, Side::Credit, 1_579),
            (Role::WarrantyReserve, Side::Debit, 1_579),
        ];
        assert_eq!(told(falls), expected);
        assert_eq!(reserve_moved(Cents::ZERO, Cents::ZERO), Ok(None));
        assert!(reserve_moved(Cents(-1), Cents::ZERO).is_err());
    }
}
