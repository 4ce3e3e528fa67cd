//! What the shop bears of a repair, at what it costs.
//!
//! Parts cost what left the stock for them, and labor the minutes worked at what an hour costs the shop, whatever the lines
//! said. So of both the shop bears its share of the prices of all lines of the kind. What a trip costs is not known.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy};

use super::programme::Covers;
use crate::money::{Cents, MoneyRefusal, SpreadRefusal, spread_by_cents};

/// A line of a repair, and what of it the shop bears.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BorneLine {
    /// None for a charge that counts neither as parts nor as time, such as freight.
    pub covers: Option<Covers>,
    /// After discount, before tax.
    pub price: Cents,
    /// Of the price.
    pub shop: Cents,
}

/// So much of so much; zero of anything is nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ShopShare {
    pub shop: Cents,
    pub whole: Cents,
}

impl ShopShare {
    /// All of it.
    pub const ALL: Self = Self {
        shop: Cents(1),
        whole: Cents(1),
    };
    /// None of it.
    pub const NOTHING: Self = Self {
        shop: Cents::ZERO,
        whole: Cents::ZERO,
    };

    /// Whether nobody else bears any of it.
    #[must_use]
    pub fn is_all(self) -> bool {
        self.whole > Cents::ZERO && self.shop >= self.whole
    }

    /// The shop's share of a cost, zero or above; half a cent is borne.
    ///
    /// # Errors
    /// `MoneyRefusal::TooLarge` for what does not fit.
    pub fn of(self, cost: Cents) -> Result<Cents, MoneyRefusal> {
        if self.is_all() {
            return Ok(cost);
        }
        if self.shop <= Cents::ZERO || self.whole <= Cents::ZERO {
            return Ok(Cents::ZERO);
        }
        let rest = self.whole.checked_sub(self.shop);
        let rest = rest.ok_or(MoneyRefusal::TooLarge)?;
        // Of two shares the one with the greater remainder gets the cent, and the first of equal ones.
        let shares = spread_by_cents(cost, &[self.shop, rest]);
        let shares = shares.map_err(|_: SpreadRefusal| MoneyRefusal::TooLarge)?;
        Ok(shares.first().copied().unwrap_or(Cents::ZERO))
    }
}

/// What the shop bears: its share of the parts, and of the labor.
///
/// # Errors
/// `MoneyRefusal::TooLarge` for what does not fit.
///
/// # Source
/// A share of a cost in the proportion of the prices: common practice, no source.
pub fn borne(lines: &[BorneLine]) -> Result<(ShopShare, ShopShare), MoneyRefusal> {
    let share = |covers: Covers| {
        let of_kind = || lines.iter().filter(|line| line.covers == Some(covers));
        Ok(ShopShare {
            shop: Cents::sum(of_kind().map(|line| line.shop))?,
            whole: Cents::sum(of_kind().map(|line| line.price))?,
        })
    };
    Ok((share(Covers::Parts)?, share(Covers::Labour)?))
}

/// What minutes of work cost the shop, at so much an hour; half a cent is rounded up.
///
/// # Errors
/// `MoneyRefusal::TooLarge` for what does not fit.
///
/// # Source
/// Hours times cost of an hour: common practice, no source.
pub fn labour_cost(minutes: i64, an_hour: Cents) -> Result<Cents, MoneyRefusal> {
    Decimal::from(minutes)
        .checked_mul(Decimal::from(an_hour.0))
        .and_then(|product| product.checked_div(Decimal::from(60)))
        .map(|cents| cents.round_dp_with_strategy(0, RoundingStrategy::MidpointAwayFromZero))
        .and_then(|cents| cents.to_i64())
        .map(Cents)
        .ok_or(MoneyRefusal::TooLarge)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn line(covers: Option<Covers>, (price, shop): (i64, i64)) -> BorneLine {
        BorneLine {
            covers,
            price: Cents(price),
            shop: Cents(shop),
        }
    }

    /// By hand: of parts at 100.00 and 50.00 the shop bears 50.00, a third; 25.00 of cost gives 8.33. Half an hour at 80.02
    /// costs 40.01; half of that is 20.005, so 20.01.
    #[test]
    fn a_third_of_the_parts_and_half_of_the_labor() {
        let lines = [
            line(Some(Covers::Parts), (10_000, 0)),
            line(Some(Covers::Parts), (5_000, 5_000)),
            line(Some(Covers::Labour), (14_400, 7_200)),
            line(Some(Covers::Trip), (4_500, 0)),
            line(None, (900, 900)),
        ];
        let (parts, labour) = borne(&lines).unwrap();
        assert_eq!(parts.of(Cents(2_500)), Ok(Cents(833)));
        assert_eq!(labour_cost(30, Cents(8_002)), Ok(Cents(4_001)));
        assert_eq!(labour.of(Cents(4_001)), Ok(Cents(2_001)));
        assert_eq!(labour_cost(1, Cents(30)), Ok(Cents(1)), "half a cent");
        assert!(!parts.is_all());
    }

    #[test]
    fn nothing_is_borne_of_what_has_no_price_and_all_of_what_is_all_the_shops() {
        let (none, labour) = borne(&[]).unwrap();
        assert_eq!((none.of(Cents(700)), labour), (Ok(Cents(0)), none));
        assert_eq!(ShopShare::ALL.of(Cents(701)), Ok(Cents(701)));
        assert_eq!(ShopShare::NOTHING.of(Cents(701)), Ok(Cents(0)));
        let whole = [line(Some(Covers::Parts), (9, 9))];
        assert!(borne(&whole).unwrap().0.is_all());
    }

    proptest! {
        #[test]
        fn a_share_lies_between_nothing_and_all_and_is_within_half_a_cent(
            whole in 1_i64..1_000_000,
            part in 0_i64..1_000_000,
            cost in 0_i64..1_000_000_000,
        ) {
            let shop = part.min(whole);
            let share = ShopShare { shop: Cents(shop), whole: Cents(whole) };
            let borne = share.of(Cents(cost)).unwrap();
            prop_assert!(borne >= Cents::ZERO && borne <= Cents(cost));
            let twice = 2 * (i128::from(borne.0) * i128::from(whole) - i128::from(cost) * i128::from(shop));
            prop_assert!(twice.abs() <= i128::from(whole));
        }
    }
}
