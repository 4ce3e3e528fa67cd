//! Which invoice a payment settles, when an invoice falls due, and how late it is.
//!
//! Open items are passed without ids; an answer names them by their place in what was passed.
//! What must stay true: what is allocated and what is left over add up to the payment, and no item is paid beyond
//! what it owes.

use std::collections::BTreeSet;

use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal};

/// An invoice with something open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct OpenItem {
    /// Day it falls due.
    pub due_on: NaiveDate,
    /// What is open on it; items at or below zero take no payment.
    pub open: Cents,
}

/// How a payment is divided.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Allocation {
    /// Place of the item and what it gets, oldest first; only items that get something.
    pub parts: Vec<(usize, Cents)>,
    /// What no item takes: the customer's credit.
    pub excess: Cents,
}

/// Why an allocation is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum AllocationRefusal {
    /// A payment or a part of one below or at zero.
    #[error("a payment of {amount} is not above zero")]
    NotAboveZero { amount: Cents },
    /// There is no such item.
    #[error("there is no open item {item}")]
    NoSuchItem { item: usize },
    /// One item named twice.
    #[error("open item {item} is named twice")]
    NamedTwice { item: usize },
    /// An item would get more than it owes.
    #[error("item {item} owes {open}, but would get {given}")]
    PaidMoreThanOwed {
        item: usize,
        open: Cents,
        given: Cents,
    },
    /// The parts come to more than the payment.
    #[error("{allocated} is allocated from a payment of {amount}")]
    AllocatedMoreThanPaid { amount: Cents, allocated: Cents },
    /// A sum does not fit.
    #[error("the amounts are too large to be added")]
    TooLarge,
}

/// Divides a payment over open items, earliest due first; items due the same day in the order given.
///
/// # Errors
/// `NotAboveZero` for a payment of nothing or less.
/// # Source
/// Common practice, no statute.
pub fn allocate(amount: Cents, open: &[OpenItem]) -> Result<Allocation, AllocationRefusal> {
    above_zero(amount)?;
    let mut oldest_first: Vec<(usize, &OpenItem)> = open.iter().enumerate().collect();
    oldest_first.sort_by_key(|(_, item)| item.due_on);
    let mut excess = amount;
    let mut parts = Vec::new();
    for (at, item) in oldest_first {
        let part = item.open.min(excess);
        if part > Cents::ZERO {
            excess = excess
                .checked_sub(part)
                .ok_or(AllocationRefusal::TooLarge)?;
            parts.push((at, part));
        }
    }
    Ok(Allocation { parts, excess })
}

/// Checks an allocation somebody chose, and gives what is left of the payment.
///
/// # Errors
/// `NotAboveZero`, `NoSuchItem`, `NamedTwice`, `PaidMoreThanOwed` for the first part at fault;
/// `AllocatedMoreThanPaid`; `TooLarge`.
pub fn check_allocation(
    amount: Cents,
    open: &[OpenItem],
    parts: &[(usize, Cents)],
) -> Result<Cents, AllocationRefusal> {
    above_zero(amount)?;
    let mut named = BTreeSet::new();
    for (item, given) in parts.iter().copied() {
        above_zero(given)?;
        let owed = open
            .get(item)
            .ok_or(AllocationRefusal::NoSuchItem { item })?
            .open;
        if !named.insert(item) {
            return Err(AllocationRefusal::NamedTwice { item });
        }
        if given > owed {
            return Err(AllocationRefusal::PaidMoreThanOwed {
                item,
                open: owed,
                given,
            });
        }
    }
    let allocated =
        Cents::sum(parts.iter().map(|part| part.1)).map_err(|_| AllocationRefusal::TooLarge)?;
    if allocated > amount {
        return Err(AllocationRefusal::AllocatedMoreThanPaid { amount, allocated });
    }
    amount
        .checked_sub(allocated)
        .ok_or(AllocationRefusal::TooLarge)
}

const fn above_zero(amount: Cents) -> Result<(), AllocationRefusal> {
    if amount.0 <= 0 {
        return Err(AllocationRefusal::NotAboveZero { amount });
    }
    Ok(())
}

/// Why there is no due date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum TermsRefusal {
    /// The calendar ends first.
    #[error("{terms_days} days after {issued_on} lies beyond the calendar")]
    BeyondCalendar {
        issued_on: NaiveDate,
        terms_days: u32,
    },
}

/// Day an invoice falls due: so many calendar days after issue; 0 is the day of issue itself.
///
/// # Errors
/// `BeyondCalendar`.
pub fn due_on(issued_on: NaiveDate, terms_days: u32) -> Result<NaiveDate, TermsRefusal> {
    issued_on
        .checked_add_days(Days::new(u64::from(terms_days)))
        .ok_or(TermsRefusal::BeyondCalendar {
            issued_on,
            terms_days,
        })
}

/// How late an item is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AgeBracket {
    /// Up to and on its due date.
    NotYetDue,
    /// 1 to 30 days late.
    Days1To30,
    /// 31 to 60 days late.
    Days31To60,
    /// 61 to 90 days late.
    Days61To90,
    /// 91 days late or more.
    Over90,
}

/// How late an item due on one day is on another.
///
/// # Source
/// *Accounting Principles: A Business Perspective* (Global Text, CC BY 3.0), Exhibit 77;
/// fixtures/worked/ageing.json.
#[must_use]
pub fn age_bracket(due_on: NaiveDate, on: NaiveDate) -> AgeBracket {
    match on.signed_duration_since(due_on).num_days() {
        ..=0 => AgeBracket::NotYetDue,
        1..=30 => AgeBracket::Days1To30,
        31..=60 => AgeBracket::Days31To60,
        61..=90 => AgeBracket::Days61To90,
        _ => AgeBracket::Over90,
    }
}

/// Open amounts by how late they are.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ageing {
    /// Up to and on the due date.
    pub not_yet_due: Cents,
    /// 1 to 30 days late.
    pub days_1_to_30: Cents,
    /// 31 to 60 days late.
    pub days_31_to_60: Cents,
    /// 61 to 90 days late.
    pub days_61_to_90: Cents,
    /// 91 days late or more.
    pub over_90: Cents,
    /// Sum of the five.
    pub total: Cents,
}

/// Ages items one by one, so that one customer's items may fall into several brackets.
///
/// Items below zero (credits) lower their bracket.
///
/// # Errors
/// `MoneyRefusal::TooLarge`.
/// # Source
/// As [`age_bracket`].
pub fn ageing(items: &[OpenItem], on: NaiveDate) -> Result<Ageing, MoneyRefusal> {
    let mut ageing = Ageing::default();
    for item in items {
        let bracket = match age_bracket(item.due_on, on) {
            AgeBracket::NotYetDue => &mut ageing.not_yet_due,
            AgeBracket::Days1To30 => &mut ageing.days_1_to_30,
            AgeBracket::Days31To60 => &mut ageing.days_31_to_60,
            AgeBracket::Days61To90 => &mut ageing.days_61_to_90,
            AgeBracket::Over90 => &mut ageing.over_90,
        };
        *bracket = bracket
            .checked_add(item.open)
            .ok_or(MoneyRefusal::TooLarge)?;
        ageing.total = ageing
            .total
            .checked_add(item.open)
            .ok_or(MoneyRefusal::TooLarge)?;
    }
    Ok(ageing)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::worked::rows;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn item(due: &str, open: i64) -> OpenItem {
        OpenItem {
            due_on: day(due),
            open: Cents(open),
        }
    }

    #[derive(Deserialize)]
    struct Late {
        due_on: NaiveDate,
        on: NaiveDate,
    }

    #[test]
    fn an_item_falls_into_the_bracket_of_its_days_late() {
        for row in rows::<Late, AgeBracket>(include_str!("../../../../fixtures/worked/ageing.json"))
        {
            let bracket = age_bracket(row.input.due_on, row.input.on);
            assert_eq!(bracket, row.expected, "{}", row.source);
        }
    }

    /// Accounting Principles, Exhibit 77: 828,000 open on 31 Dec 2010, one customer over two brackets.
    #[test]
    fn a_schedule_adds_up_and_splits_one_customer_over_brackets() {
        let items = [
            item("2011-01-15", 54_800_000),
            item("2010-12-31", 1_200_000),
            item("2010-12-30", 25_000_000),
            item("2010-12-01", 200_000),
            item("2010-11-15", 400_000),
            item("2010-10-15", 80_000),
            item("2010-10-01", 1_120_000),
        ];
        let schedule = ageing(&items, day("2010-12-31")).unwrap();
        assert_eq!(schedule.not_yet_due, Cents(56_000_000));
        assert_eq!(schedule.days_1_to_30, Cents(25_200_000));
        assert_eq!(schedule.days_31_to_60, Cents(400_000));
        assert_eq!(schedule.days_61_to_90, Cents(80_000));
        assert_eq!(schedule.over_90, Cents(1_120_000));
        assert_eq!(schedule.total, Cents(82_800_000));
    }

    #[test]
    fn a_payment_settles_the_oldest_first_and_the_rest_is_credit() {
        let open = [
            item("2025-03-01", 500),
            item("2025-01-01", 300),
            item("2025-03-01", 200),
        ];
        let given = |amount| allocate(Cents(amount), &open).unwrap();
        assert_eq!(
            given(600),
            Allocation {
                parts: vec![(1, Cents(300)), (0, Cents(300))],
                excess: Cents::ZERO
            }
        );
        assert_eq!(
            given(1_050),
            Allocation {
                parts: vec![(1, Cents(300)), (0, Cents(500)), (2, Cents(200))],
                excess: Cents(50),
            }
        );
    }

    #[test]
    fn a_payment_with_nothing_open_is_all_credit() {
        let credit = [item("2025-01-01", -100), item("2025-01-01", 0)];
        let given = allocate(Cents(40), &credit).unwrap();
        assert_eq!(
            given,
            Allocation {
                parts: vec![],
                excess: Cents(40)
            }
        );
    }

    #[test]
    fn a_chosen_allocation_is_refused_by_the_name_of_its_fault() {
        let open = [item("2025-01-01", 300), item("2025-02-01", 200)];
        let checked = |amount, parts: &[(usize, i64)]| {
            let parts: Vec<_> = parts.iter().map(|part| (part.0, Cents(part.1))).collect();
            check_allocation(Cents(amount), &open, &parts)
        };
        assert_eq!(checked(400, &[(1, 200), (0, 150)]), Ok(Cents(50)));
        assert_eq!(checked(400, &[]), Ok(Cents(400)));
        assert_eq!(
            checked(0, &[]),
            Err(AllocationRefusal::NotAboveZero { amount: Cents(0) })
        );
        assert_eq!(
            checked(400, &[(0, -1)]),
            Err(AllocationRefusal::NotAboveZero { amount: Cents(-1) })
        );
        assert_eq!(
            checked(400, &[(2, 1)]),
            Err(AllocationRefusal::NoSuchItem { item: 2 })
        );
        assert_eq!(
            checked(400, &[(0, 1), (0, 1)]),
            Err(AllocationRefusal::NamedTwice { item: 0 })
        );
        assert_eq!(
            checked(400, &[(1, 201)]),
            Err(AllocationRefusal::PaidMoreThanOwed {
                item: 1,
                open: Cents(200),
                given: Cents(201)
            })
        );
        assert_eq!(
            checked(400, &[(0, 300), (1, 101)]),
            Err(AllocationRefusal::AllocatedMoreThanPaid {
                amount: Cents(400),
                allocated: Cents(401)
            })
        );
    }

    #[test]
    fn terms_count_calendar_days_from_issue() {
        assert_eq!(due_on(day("2024-02-15"), 0), Ok(day("2024-02-15")));
        assert_eq!(due_on(day("2024-02-15"), 30), Ok(day("2024-03-16")));
        assert!(due_on(NaiveDate::MAX, 1).is_err());
    }

    proptest! {
        #[test]
        fn parts_and_excess_add_up_and_pass_the_check(
            amount in 1_i64..1_000_000,
            items in prop::collection::vec((0_u64..400, -1_000_i64..200_000), 0..10),
        ) {
            let open: Vec<OpenItem> = items
                .iter()
                .map(|(days, open)| OpenItem {
                    due_on: day("2025-01-01") + Days::new(*days),
                    open: Cents(*open),
                })
                .collect();
            let given = allocate(Cents(amount), &open).unwrap();
            prop_assert_eq!(check_allocation(Cents(amount), &open, &given.parts), Ok(given.excess));
        }
    }
}
