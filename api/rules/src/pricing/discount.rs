//! Discounts on a line or on a document, always carried by the lines.
//!
//! A document's discount is spread so that each line knows its own net: tax, warranty and revenue are
//! worked out by line. What must stay true: lines add up to the document before and after the discount.

use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal, SpreadRefusal, spread_by_cents};
use crate::percent::Percent;

/// A discount as it was granted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Discount {
    /// So many cents off.
    Amount(Cents),
    /// So many per hundred off, rounded half up once on the whole.
    Percent(Percent),
}

/// A discount carried by the lines.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Discounted {
    /// What each line gives up, in the order of the lines.
    pub by_line: Vec<Cents>,
    /// What each line is after that.
    pub net_by_line: Vec<Cents>,
    /// Sum of `by_line`.
    pub discount: Cents,
    /// Sum of `net_by_line`.
    pub net: Cents,
}

/// Why a discount cannot be given.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DiscountRefusal {
    /// The discount is below zero.
    #[error("a discount of {discount} would raise the price")]
    NegativeDiscount { discount: Cents },
    /// The discount exceeds what it is taken from.
    #[error("a discount of {discount} is more than the {total} it is taken from")]
    MoreThanTotal { discount: Cents, total: Cents },
    /// The lines add up to less than nothing.
    #[error("lines that add up to {total} take no discount")]
    NegativeTotal { total: Cents },
    /// The discount cannot be spread.
    #[error(transparent)]
    Spread(#[from] SpreadRefusal),
    /// A sum does not fit.
    #[error(transparent)]
    Money(#[from] MoneyRefusal),
}

/// Takes a discount off the lines of a document, in proportion to them, by largest remainder.
///
/// For a discount on one line, pass that line alone. A returned line (below zero) gives its share back.
///
/// # Errors
/// See [`DiscountRefusal`].
/// # Source
/// EN 16931-1 rules BR-CO-10, -11 and -13 (sums); the spread is common practice, no statute.
pub fn discount_lines(nets: &[Cents], discount: Discount) -> Result<Discounted, DiscountRefusal> {
    let total = Cents::sum(nets.iter().copied())?;
    if total.is_negative() {
        return Err(DiscountRefusal::NegativeTotal { total });
    }
    let discount = match discount {
        Discount::Amount(amount) => amount,
        Discount::Percent(percent) => percent.of(total)?,
    };
    if discount.is_negative() {
        return Err(DiscountRefusal::NegativeDiscount { discount });
    }
    if discount > total {
        return Err(DiscountRefusal::MoreThanTotal { discount, total });
    }
    let by_line = spread_by_cents(discount, nets)?;
    let net_by_line: Option<Vec<Cents>> = nets
        .iter()
        .zip(&by_line)
        .map(|(net, off)| net.checked_sub(*off))
        .collect();
    Ok(Discounted {
        net_by_line: net_by_line.ok_or(MoneyRefusal::TooLarge)?,
        by_line,
        discount,
        net: total.checked_sub(discount).ok_or(MoneyRefusal::TooLarge)?,
    })
}

/// Why a discount on one line cannot be given.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {refusal}")]
pub struct OnLine {
    /// Which line, counted from 0.
    pub line: usize,
    /// Why.
    pub refusal: DiscountRefusal,
}

/// Discounts granted on single lines: what each gives up, each rounded for itself and carried by its line alone.
///
/// They come before a discount on the document, which is taken off what they leave.
///
/// # Errors
/// `OnLine` for the first line at fault.
/// # Source
/// EN 16931-1 BT-131 and BG-27 (a line's net amount is after its own allowances); the order is common practice.
pub fn discount_each(lines: &[(Cents, Option<Discount>)]) -> Result<Vec<Cents>, OnLine> {
    lines
        .iter()
        .enumerate()
        .map(|(line, (net, granted))| match granted {
            None => Ok(Cents::ZERO),
            Some(granted) => discount_lines(&[*net], *granted)
                .map(|given| given.discount)
                .map_err(|refusal| OnLine { line, refusal }),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn percent(text: &str) -> Discount {
        Discount::Percent(Percent::parse(text).unwrap())
    }

    /// 10 % of 203.65 is 20.365, a tie that goes up to 20.37; common practice, no source.
    #[test]
    fn a_document_discount_is_rounded_once_and_spread_over_its_lines() {
        let lines = [Cents(6_490), Cents(1_875), Cents(12_000)];
        let given = discount_lines(&lines, percent("10")).unwrap();
        assert_eq!(given.discount, Cents(2_037));
        assert_eq!(given.by_line, [Cents(649), Cents(188), Cents(1_200)]);
        assert_eq!(given.net, Cents(18_328));
    }

    #[test]
    fn a_discount_beyond_the_total_or_below_zero_is_refused() {
        let (discount, total) = (Cents(101), Cents(100));
        assert_eq!(
            discount_lines(&[total], Discount::Amount(discount)),
            Err(DiscountRefusal::MoreThanTotal { discount, total })
        );
        let discount = Cents(-1);
        assert_eq!(
            discount_lines(&[total], Discount::Amount(discount)),
            Err(DiscountRefusal::NegativeDiscount { discount })
        );
        let total = Cents(-5);
        assert_eq!(
            discount_lines(&[total], percent("10")),
            Err(DiscountRefusal::NegativeTotal { total })
        );
    }

    #[test]
    fn no_lines_take_no_discount() {
        assert_eq!(
            discount_lines(&[], percent("10")).unwrap().discount,
            Cents::ZERO
        );
        assert!(discount_lines(&[], Discount::Amount(Cents(1))).is_err());
    }

    /// 10 % of 64.95 is 6.495, a tie that goes up; common practice, no source.
    #[test]
    fn a_discount_on_one_line_is_rounded_for_itself_and_leaves_the_others_alone() {
        let lines = [
            (Cents(6_495), Some(percent("10"))),
            (Cents(12_000), None),
            (Cents(5_000), Some(Discount::Amount(Cents(5_000)))),
        ];
        let given = discount_each(&lines).unwrap();
        assert_eq!(given, [Cents(650), Cents::ZERO, Cents(5_000)]);
        let (discount, total) = (Cents(101), Cents(100));
        let too_much = (total, Some(Discount::Amount(discount)));
        let refusal = DiscountRefusal::MoreThanTotal { discount, total };
        let refused = OnLine { line: 1, refusal };
        assert_eq!(discount_each(&[(total, None), too_much]), Err(refused));
    }

    proptest! {
        #[test]
        fn a_document_discount_on_top_of_those_of_lines_leaves_every_line_at_nothing_or_more(
            lines in prop::collection::vec((0_i64..1_000_000, 0_i64..=10_000), 1..12), hundredths in 0_i64..=10_000,
        ) {
            let rate = |hundredths| Percent::new(rust_decimal::Decimal::new(hundredths, 2)).unwrap();
            let asked: Vec<_> = lines
                .iter()
                .map(|(net, own)| (Cents(*net), Some(Discount::Percent(rate(*own)))))
                .collect();
            let own = discount_each(&asked).unwrap();
            let left: Vec<Cents> = asked.iter().zip(&own).map(|((net, _), off)| Cents(net.0 - off.0)).collect();
            let given = discount_lines(&left, Discount::Percent(rate(hundredths))).unwrap();
            prop_assert!(given.net_by_line.iter().all(|net| !net.is_negative()));
            let nets: i64 = lines.iter().map(|(net, _)| net).sum();
            let off: i64 = own.iter().chain(&given.by_line).map(|off| off.0).sum();
            prop_assert_eq!(given.net.0, nets - off);
        }

        #[test]
        fn lines_add_up_under_any_discount(
            nets in prop::collection::vec(0_i64..1_000_000, 0..12), hundredths in 0_i64..=10_000,
        ) {
            let lines: Vec<Cents> = nets.into_iter().map(Cents).collect();
            let rate = Percent::new(rust_decimal::Decimal::new(hundredths, 2)).unwrap();
            let given = discount_lines(&lines, Discount::Percent(rate)).unwrap();
            prop_assert_eq!(Cents::sum(given.by_line.clone()), Ok(given.discount));
            prop_assert_eq!(Cents::sum(given.net_by_line.clone()), Ok(given.net));
            prop_assert_eq!(given.net.checked_add(given.discount), Cents::sum(lines).ok());
            prop_assert!(given.net_by_line.iter().all(|net| !net.is_negative()));
        }
    }
}
