//! What the shop bears of a repair, at what it costs.
//!
//! Parts cost what left the stock for them, whatever a line said, so of them the shop bears its share of the prices of
//! all lines of parts. Labor and trip have the cost of their own line, of which it bears its share line by line.

use super::programme::Covers;
use crate::money::{Cents, MoneyRefusal, SpreadRefusal, spread_by_cents};

/// A line of a repair, what of it the shop bears, and what it costs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CostedLine {
    /// None for a charge that counts neither as parts nor as time, such as freight.
    pub covers: Option<Covers>,
    /// After discount, before tax.
    pub price: Cents,
    /// Of the price.
    pub shop: Cents,
    pub cost: Cents,
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

/// What the shop bears: its share of the parts, and labor and trip in cents of cost.
///
/// # Errors
/// `MoneyRefusal::TooLarge` for what does not fit.
///
/// # Source
/// A share of a cost in the proportion of the prices: common practice, no source.
pub fn borne(lines: &[CostedLine]) -> Result<(ShopShare, Cents), MoneyRefusal> {
    let of_parts = || {
        lines
            .iter()
            .filter(|line| line.covers == Some(Covers::Parts))
    };
    let parts = ShopShare {
        shop: Cents::sum(of_parts().map(|line| line.shop))?,
        whole: Cents::sum(of_parts().map(|line| line.price))?,
    };
    let mut labour = Cents::ZERO;
    for line in lines {
        if matches!(line.covers, Some(Covers::Labour | Covers::Trip)) {
            let share = ShopShare {
                shop: line.shop,
                whole: line.price,
            };
            labour = share
                .of(line.cost)
                .and_then(|cost| labour.checked_add(cost).ok_or(MoneyRefusal::TooLarge))?;
        }
    }
    Ok((parts, labour))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn line(covers: Option<Covers>, (price, shop, cost): (i64, i64, i64)) -> CostedLine {
        CostedLine {
            covers,
            price: Cents(price),
            shop: Cents(shop),
            cost: Cents(cost),
        }
    }

    /// By hand: of parts at 100.00 and 50.00 the shop bears 50.00, a third; 25.00 of cost gives 8.33. Half of a labor line
    /// that costs 40.01 is 20.005, so 20.01.
    #[test]
    fn a_third_of_the_parts_and_half_of_the_labor() {
        let lines = [
            line(Some(Covers::Parts), (10_000, 0, 6_000)),
            line(Some(Covers::Parts), (5_000, 5_000, 2_000)),
            line(Some(Covers::Labour), (14_400, 7_200, 4_001)),
            line(Some(Covers::Trip), (4_500, 0, 1_000)),
            line(None, (900, 900, 900)),
        ];
        let (parts, labour) = borne(&lines).unwrap();
        assert_eq!(parts.of(Cents(2_500)), Ok(Cents(833)));
        assert_eq!(labour, Cents(2_001));
        assert!(!parts.is_all());
    }

    #[test]
    fn nothing_is_borne_of_what_has_no_price_and_all_of_what_is_all_the_shops() {
        let (none, labour) = borne(&[]).unwrap();
        assert_eq!((none.of(Cents(700)), labour), (Ok(Cents(0)), Cents(0)));
        assert_eq!(ShopShare::ALL.of(Cents(701)), Ok(Cents(701)));
        assert_eq!(ShopShare::NOTHING.of(Cents(701)), Ok(Cents(0)));
        let whole = [line(Some(Covers::Parts), (9, 9, 9))];
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
