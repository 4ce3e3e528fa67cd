//! What of an invoice, or of a supplier's bill, counts on the cash basis: the share of it that is paid.
//!
//! Method: an invoice is made of parts, such as each kind of sale after its discounts and the tax of each level. Its
//! credit notes are taken off its parts from their day on. Through a day, what is paid of it is divided over the parts in
//! exact proportion and rounded by the largest remainder, so that the rounded parts add up to what is paid; what counts in
//! some days is the difference between the divisions at their two ends. So each cent counts once, however many payments
//! there are, and a paid invoice counts as it was issued. Money that settles no invoice is the customer's and does not
//! count; nor does what is written off.
//!
//! A supplier's bill is made of its lines, and is settled by payments and by credits laid against it. A credit is made of
//! its lines too, and is settled by being laid; what counts of it is taken off. So what counts of bills and credits
//! together adds up to the money paid.

use super::BooksRefusal;
use crate::money::{Cents, MoneyRefusal, ratio_half_up, spread_by_cents};
use std::collections::BTreeMap;

/// The parts of an invoice or bill on some day, by whatever tells them apart, and what was paid of it by then.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settled<K> {
    /// Parts after the credit notes issued by then. They add up to the invoice's total less these.
    pub parts: BTreeMap<K, Cents>,
    /// Money laid against it. More than the total is the customer's credit and counts for nothing.
    pub paid: Cents,
}

impl<K: Ord + Clone> Settled<K> {
    /// What counts of each part.
    ///
    /// # Errors
    /// `Overflow`.
    ///
    /// # Source
    /// 26 CFR 1.446-1(c)(1)(i): under the cash receipts method income counts when it is received, and expenses when they
    /// are paid; so 26 CFR 1.461-1(a)(1) of deductions. The division over the parts of one invoice or bill is common
    /// practice, no source. `worked/cash-basis.json`, `worked/cash-basis-bills.json`.
    ///
    /// # Example
    /// ```
    /// use nameplate_rules::{books::cash::Settled, money::Cents};
    /// let parts = [("labour", Cents(6_667)), ("parts", Cents(3_333))].into();
    /// let counted = Settled { parts, paid: Cents(100) }.counted()?;
    /// assert_eq!(counted, [("labour", Cents(67)), ("parts", Cents(33))].into());
    /// # Ok::<(), nameplate_rules::books::BooksRefusal>(())
    /// ```
    pub fn counted(&self) -> Result<BTreeMap<K, Cents>, BooksRefusal> {
        let amounts: Vec<Cents> = self.parts.values().copied().collect();
        let shares =
            spread_by_cents(self.counted_total()?, &amounts).map_err(|_| BooksRefusal::Overflow)?;
        Ok(self.parts.keys().cloned().zip(shares).collect())
    }

    /// A base beside the parts, such as what a level taxes, in the same proportion. Rounded half up by itself: it is
    /// no part of the total.
    ///
    /// # Errors
    /// `Overflow`.
    pub fn counted_of(&self, base: Cents) -> Result<Cents, BooksRefusal> {
        let total = self.total()?;
        if total == Cents::ZERO {
            return Ok(Cents::ZERO);
        }
        let numerator = i128::from(base.0)
            .checked_mul(i128::from(self.counted_total()?.0))
            .ok_or(BooksRefusal::Overflow)?;
        ratio_half_up(numerator, i128::from(total.0)).map_err(|_| BooksRefusal::Overflow)
    }

    fn total(&self) -> Result<Cents, BooksRefusal> {
        Cents::sum(self.parts.values().copied()).map_err(|_: MoneyRefusal| BooksRefusal::Overflow)
    }

    /// Never less than nothing, nor more than the invoice is about.
    fn counted_total(&self) -> Result<Cents, BooksRefusal> {
        let total = self.total()?.max(Cents::ZERO);
        Ok(self.paid.clamp(Cents::ZERO, total))
    }
}

/// What counts between two days, part by part: what counted at the end less what counted before.
///
/// # Errors
/// `Overflow`.
pub fn counted_between<K: Ord + Clone>(
    before: &Settled<K>,
    after: &Settled<K>,
) -> Result<BTreeMap<K, Cents>, BooksRefusal> {
    let mut moved = after.counted()?;
    for (key, amount) in before.counted()? {
        let part = moved.entry(key).or_insert(Cents::ZERO);
        *part = part.checked_sub(amount).ok_or(BooksRefusal::Overflow)?;
    }
    moved.retain(|_, amount| *amount != Cents::ZERO);
    Ok(moved)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde::Deserialize;

    #[derive(Deserialize)]
    struct Case {
        input: Vec<Step>,
        expected: Vec<BTreeMap<String, i64>>,
    }

    /// The state at the end of a period.
    #[derive(Deserialize)]
    struct Step {
        parts: BTreeMap<String, i64>,
        paid: i64,
    }

    fn settled(parts: &BTreeMap<String, i64>, paid: i64) -> Settled<String> {
        Settled {
            parts: parts
                .iter()
                .map(|(key, cents)| (key.clone(), Cents(*cents)))
                .collect(),
            paid: Cents(paid),
        }
    }

    #[test]
    fn worked_examples_give_each_period_its_share() {
        let of_sales = include_str!("../../../../fixtures/worked/cash-basis.json");
        let of_bills = include_str!("../../../../fixtures/worked/cash-basis-bills.json");
        let read = |text| serde_json::from_str::<Vec<Case>>(text).unwrap();
        let cases = [read(of_sales), read(of_bills)];
        assert!(cases.iter().all(|cases| cases.len() > 3));
        for case in cases.into_iter().flatten() {
            let mut before = settled(&BTreeMap::new(), 0);
            for (step, expected) in case.input.iter().zip(&case.expected) {
                let after = settled(&step.parts, step.paid);
                let moved = counted_between(&before, &after).unwrap();
                let moved: BTreeMap<String, i64> = moved
                    .into_iter()
                    .map(|(key, cents)| (key, cents.0))
                    .collect();
                assert_eq!(&moved, expected);
                before = after;
            }
        }
    }

    #[test]
    fn a_base_is_taken_in_proportion_and_none_of_an_invoice_of_nothing() {
        let of = |total: i64, paid: i64| settled(&[("a".to_owned(), total)].into(), paid);
        assert_eq!(of(300, 100).counted_of(Cents(200)), Ok(Cents(67)));
        assert_eq!(of(300, 900).counted_of(Cents(200)), Ok(Cents(200)));
        assert_eq!(of(0, 5).counted_of(Cents(200)), Ok(Cents(0)));
        assert_eq!(
            of(i64::MAX, i64::MAX).counted_of(Cents(i64::MAX)),
            Ok(Cents(i64::MAX))
        );
    }

    proptest! {
        #[test]
        fn however_it_is_paid_an_invoice_counts_as_it_was_issued(
            amounts in prop::collection::vec(0_i64..1_000_000, 1..8),
            cuts in prop::collection::vec(0_u32..=1_000, 0..6),
        ) {
            let parts: BTreeMap<usize, Cents> = amounts.iter().map(|a| Cents(*a)).enumerate().collect();
            let total: i64 = amounts.iter().sum();
            let mut cuts: Vec<i64> = cuts.iter().map(|cut| total * i64::from(*cut) / 1_000).collect();
            cuts.sort_unstable();
            cuts.push(total);
            let mut before = Settled { parts: parts.clone(), paid: Cents(0) };
            let mut sums: BTreeMap<usize, i64> = BTreeMap::new();
            for cut in cuts {
                let after = Settled { parts: parts.clone(), paid: Cents(cut) };
                let moved = counted_between(&before, &after).unwrap();
                prop_assert_eq!(moved.values().map(|c| c.0).sum::<i64>(), cut - before.paid.0);
                for (key, cents) in moved {
                    *sums.entry(key).or_default() += cents.0;
                }
                before = after;
            }
            for (key, cents) in parts {
                prop_assert_eq!(sums.get(&key).copied().unwrap_or_default(), cents.0);
            }
        }
    }
}
