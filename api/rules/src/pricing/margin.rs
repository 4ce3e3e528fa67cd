//! Markup (on cost) and margin (on price), each worked out from the other.
//!
//! Shops think in one and are asked for the other, and mixing them up sells too cheap: 33 % markup is
//! only 25 % margin. All figures are exact decimals per hundred; only prices are rounded.

use rust_decimal::Decimal;

use crate::money::{Cents, MoneyRefusal};

/// Why a markup, margin or price cannot be worked out.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MarginRefusal {
    /// Something that costs nothing has no markup.
    #[error("a part that costs nothing has no markup")]
    NoCost,
    /// Something given away has no margin.
    #[error("a part that sells for nothing has no margin")]
    NoPrice,
    /// A margin of 100 % or more would need an endless price.
    #[error("a margin of {margin_percent} % cannot be reached by any price")]
    MarginNotBelow100 { margin_percent: Decimal },
    /// A markup of -100 % or less leaves no price.
    #[error("a markup of {markup_percent} % leaves no price")]
    MarkupGivesNoPrice { markup_percent: Decimal },
    /// The figure does not fit.
    #[error(transparent)]
    Money(#[from] MoneyRefusal),
}

/// Margin on price, per hundred, that a markup on cost gives: 100 m / (100 + m).
///
/// # Errors
/// `MarkupGivesNoPrice` at -100 or less.
/// # Source
/// Identity g = m / (1 + m); a printed markup table is in fixtures/worked/margin.json.
pub fn margin_from_markup(markup_percent: Decimal) -> Result<Decimal, MarginRefusal> {
    let price = Decimal::ONE_HUNDRED
        .checked_add(markup_percent)
        .ok_or(MoneyRefusal::TooLarge)?;
    if price <= Decimal::ZERO {
        return Err(MarginRefusal::MarkupGivesNoPrice { markup_percent });
    }
    hundredfold(markup_percent, price)
}

/// Markup on cost, per hundred, that a margin on price needs: 100 g / (100 - g).
///
/// # Errors
/// `MarginNotBelow100` at 100 or more.
/// # Source
/// Identity m = g / (1 - g); fixtures/worked/margin.json.
pub fn markup_from_margin(margin_percent: Decimal) -> Result<Decimal, MarginRefusal> {
    let cost = Decimal::ONE_HUNDRED
        .checked_sub(margin_percent)
        .ok_or(MoneyRefusal::TooLarge)?;
    if cost <= Decimal::ZERO {
        return Err(MarginRefusal::MarginNotBelow100 { margin_percent });
    }
    hundredfold(margin_percent, cost)
}

/// Markup, per hundred of cost, between a cost and a price.
///
/// # Errors
/// `NoCost` if the cost is not above zero.
pub fn markup_between(cost: Cents, price: Cents) -> Result<Decimal, MarginRefusal> {
    if cost <= Cents::ZERO {
        return Err(MarginRefusal::NoCost);
    }
    hundredfold(gain(cost, price)?, Decimal::from(cost.0))
}

/// Margin, per hundred of price, between a cost and a price.
///
/// # Errors
/// `NoPrice` if the price is not above zero.
pub fn margin_between(cost: Cents, price: Cents) -> Result<Decimal, MarginRefusal> {
    if price <= Cents::ZERO {
        return Err(MarginRefusal::NoPrice);
    }
    hundredfold(gain(cost, price)?, Decimal::from(price.0))
}

/// Price that a markup on cost gives, rounded half up once.
///
/// # Errors
/// `TooLarge` if the price does not fit.
pub fn price_at_markup(cost: Cents, markup_percent: Decimal) -> Result<Cents, MarginRefusal> {
    let factor = Decimal::ONE_HUNDRED
        .checked_add(markup_percent)
        .and_then(|hundredths| hundredths.checked_mul(Decimal::new(1, 2)))
        .ok_or(MoneyRefusal::TooLarge)?;
    Ok(cost.times_half_up(factor)?)
}

/// Price that leaves a margin, rounded half up once.
///
/// # Errors
/// `MarginNotBelow100`; `TooLarge`.
pub fn price_at_margin(cost: Cents, margin_percent: Decimal) -> Result<Cents, MarginRefusal> {
    if margin_percent >= Decimal::ONE_HUNDRED {
        return Err(MarginRefusal::MarginNotBelow100 { margin_percent });
    }
    let price = Decimal::from(cost.0)
        .checked_mul(Decimal::ONE_HUNDRED)
        .zip(Decimal::ONE_HUNDRED.checked_sub(margin_percent))
        .and_then(|(cost, share)| cost.checked_div(share))
        .ok_or(MoneyRefusal::TooLarge)?;
    Ok(Cents::from_decimal_half_up(price)?)
}

fn gain(cost: Cents, price: Cents) -> Result<Decimal, MoneyRefusal> {
    price
        .checked_sub(cost)
        .map(|gain| Decimal::from(gain.0))
        .ok_or(MoneyRefusal::TooLarge)
}

fn hundredfold(part: Decimal, whole: Decimal) -> Result<Decimal, MarginRefusal> {
    part.checked_mul(Decimal::ONE_HUNDRED)
        .and_then(|hundreds| hundreds.checked_div(whole))
        .ok_or(MarginRefusal::Money(MoneyRefusal::TooLarge))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde::Deserialize;

    use super::*;
    use crate::worked::rows;

    #[derive(Deserialize)]
    #[serde(rename_all = "snake_case")]
    enum Asked {
        MarginFromMarkup(Decimal),
        MarkupFromMargin(Decimal),
        MarginBetween(Cents, Cents),
        PriceAtMarkup(Cents, Decimal),
        PriceAtMargin(Cents, Decimal),
    }

    #[test]
    fn markup_and_margin_follow_the_printed_table() {
        for row in rows::<Asked, Decimal>(include_str!("../../../../fixtures/worked/margin.json")) {
            let answer = match row.input {
                Asked::MarginFromMarkup(m) => margin_from_markup(m),
                Asked::MarkupFromMargin(g) => markup_from_margin(g),
                Asked::MarginBetween(cost, price) => margin_between(cost, price),
                Asked::PriceAtMarkup(cost, m) => price_at_markup(cost, m).map(|p| p.0.into()),
                Asked::PriceAtMargin(cost, g) => price_at_margin(cost, g).map(|p| p.0.into()),
            };
            let shown = answer.unwrap().round_dp_with_strategy(
                row.expected.scale(),
                rust_decimal::RoundingStrategy::MidpointAwayFromZero,
            );
            assert_eq!(shown, row.expected, "{}", row.source);
        }
    }

    /// Source: a published worksheet and table on mark-up and gross profit (brrinc.org), cost 3.00 at 50 %.
    #[test]
    fn markup_and_margin_are_one_figure_seen_from_cost_and_from_price() {
        let fifty = Decimal::from(50);
        let margin = margin_from_markup(fifty).unwrap();
        assert_eq!(margin.round(), Decimal::from(33));
        assert_eq!(price_at_markup(Cents(300), fifty), Ok(Cents(450)));
        assert_eq!(price_at_margin(Cents(300), margin), Ok(Cents(450)));
        assert_eq!(markup_between(Cents(300), Cents(450)), Ok(fifty));
        let back = markup_from_margin(margin_between(Cents(300), Cents(450)).unwrap()).unwrap();
        assert_eq!(back.round_dp(12), fifty);
    }

    /// Source: the same table, printed in whole numbers; the margins between are reckoned from g = m / (1 + m).
    #[test]
    fn the_printed_table_of_markups_and_margins_holds_in_both_directions() {
        let two = |percent: Decimal| {
            let half_up = rust_decimal::RoundingStrategy::MidpointAwayFromZero;
            percent.round_dp_with_strategy(2, half_up)
        };
        for (markup, margin) in [
            (2_500, 2_000),
            (5_000, 3_333),
            (10_000, 5_000),
            (15_000, 6_000),
            (20_000, 6_667),
        ] {
            let found = margin_from_markup(Decimal::new(markup, 2)).unwrap();
            assert_eq!(two(found), Decimal::new(margin, 2), "markup {markup}");
        }
        for (margin, markup) in [
            (10, 1_111),
            (20, 2_500),
            (25, 3_333),
            (30, 4_286),
            (50, 10_000),
            (60, 15_000),
        ] {
            let found = markup_from_margin(Decimal::from(margin)).unwrap();
            assert_eq!(two(found), Decimal::new(markup, 2), "margin {margin}");
        }
        let third = margin_from_markup(Decimal::from(33)).unwrap();
        assert_eq!(two(third), Decimal::new(2_481, 2), "33 % is no third");
    }

    #[test]
    fn a_margin_of_a_hundred_percent_has_no_markup_and_no_price() {
        let margin_percent = Decimal::ONE_HUNDRED;
        let refusal = MarginRefusal::MarginNotBelow100 { margin_percent };
        assert_eq!(markup_from_margin(margin_percent), Err(refusal.clone()));
        assert_eq!(price_at_margin(Cents(300), margin_percent), Err(refusal));
    }

    #[test]
    fn nothing_has_no_markup_and_no_margin() {
        assert_eq!(
            markup_between(Cents::ZERO, Cents(100)),
            Err(MarginRefusal::NoCost)
        );
        assert_eq!(
            margin_between(Cents(100), Cents::ZERO),
            Err(MarginRefusal::NoPrice)
        );
        assert!(margin_from_markup(-Decimal::ONE_HUNDRED).is_err());
    }

    proptest! {
        #[test]
        fn margin_and_markup_are_inverse(hundredths in 0_i64..100_000) {
            let markup = Decimal::new(hundredths, 2);
            let back = markup_from_margin(margin_from_markup(markup).unwrap()).unwrap();
            prop_assert!((back - markup).abs() < Decimal::new(1, 12));
        }
    }
}
