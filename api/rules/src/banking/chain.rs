//! The balance that a bank writes beside each line: where it does not follow from the one before, a line is missing.

use crate::money::Cents;

/// A line with the balance after it, and its place in the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Balanced {
    pub place: i32,
    pub amount: Cents,
    /// What the bank says lies on the account after it.
    pub balance: Cents,
}

/// The first line whose balance does not follow from its neighbour's, by its place in `lines`. A file goes forward or
/// backward in time; the direction in which more lines follow counts. Lines that do not stand next to each other in the
/// file say nothing, and neither does a file in which no line follows: its balances are no running ones.
///
/// # Source
/// Common practice, no source: a balance is the one before and the amount.
///
/// # Example
/// ```
/// use nameplate_rules::{banking::chain::{Balanced, first_break}, money::Cents};
/// let line = |place, amount, balance| Balanced { place, amount: Cents(amount), balance: Cents(balance) };
/// let whole = [line(2, 500, 1_500), line(3, -200, 1_300), line(4, 100, 1_400)];
/// assert_eq!(first_break(&whole), None);
/// let missing = [line(2, 500, 1_500), line(3, -200, 1_300), line(4, 100, 1_350)];
/// assert_eq!(first_break(&missing), Some(2));
/// ```
#[must_use]
pub fn first_break(lines: &[Balanced]) -> Option<usize> {
    let pairs = || {
        let next = lines.iter().enumerate().skip(1);
        let both = lines.iter().zip(next);
        both.filter(|(one, (_, other))| one.place.checked_add(1) == Some(other.place))
    };
    let follows = |one: &Balanced, other: &Balanced| {
        one.balance.checked_add(other.amount) == Some(other.balance)
    };
    let breaks = |backward: bool| {
        let broken = pairs().filter(move |(one, (_, other))| {
            !(if backward {
                follows(other, one)
            } else {
                follows(one, other)
            })
        });
        broken.map(|(_, (at, _))| at).collect::<Vec<_>>()
    };
    let (forward, backward) = (breaks(false), breaks(true));
    let fewer = if backward.len() < forward.len() {
        backward
    } else {
        forward
    };
    if fewer.len() == pairs().count() {
        return None;
    }
    fewer.first().copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn running(amounts: &[i64]) -> Vec<Balanced> {
        let mut balance = 0;
        (2..)
            .zip(amounts)
            .map(|(place, amount)| {
                balance += amount;
                Balanced {
                    place,
                    amount: Cents(*amount),
                    balance: Cents(balance),
                }
            })
            .collect()
    }

    proptest! {
        #[test]
        fn a_running_balance_follows_and_a_line_that_is_missing_is_found_in_both_directions(
            amounts in prop::collection::vec(1_i64..100_000, 5..40),
            at in 0_usize..100,
        ) {
            let lines = running(&amounts);
            prop_assert_eq!(first_break(&lines), None);
            let at = at % (lines.len() - 4) + 2;
            let mut missing = lines.clone();
            missing.remove(at);
            for (place, line) in (2..).zip(&mut missing) {
                line.place = place;
            }
            prop_assert_eq!(first_break(&missing), Some(at));
            missing.reverse();
            for (place, line) in (2..).zip(&mut missing) {
                line.place = place;
            }
            prop_assert_eq!(first_break(&missing), Some(missing.len() - at));
        }
    }

    #[test]
    fn balances_that_do_not_run_and_lines_apart_say_nothing() {
        let mut of_days = running(&[100, 200, 300]);
        for line in &mut of_days {
            line.balance = Cents(7);
        }
        assert_eq!(first_break(&of_days), None);
        let mut apart = running(&[100, 200, 300, 400]);
        apart.remove(2);
        assert_eq!(first_break(&apart), None);
        assert_eq!(first_break(&[]), None);
    }
}
