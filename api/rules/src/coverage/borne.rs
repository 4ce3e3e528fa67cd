//! What the shop bears of a repair, at what it costs.
//!
//! Parts cost what left the stock for them, labor the minutes worked at what an hour costs the shop, and a trip what the shop
//! says that one costs, whatever the lines said. So of each the shop bears its share of the prices of all lines of the kind.

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

/// The shop's shares of a call, by what its costs come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ShopShares {
    pub parts: ShopShare,
    pub labour: ShopShare,
    pub trip: ShopShare,
}

impl ShopShares {
    /// The same share of everything.
    #[must_use]
    pub fn of_all(share: ShopShare) -> Self {
        Self {
            parts: share,
            labour: share,
            trip: share,
        }
    }
}

/// What the shop bears of the parts, of the labor and of the trip.
///
/// # Errors
/// `MoneyRefusal::TooLarge` for what does not fit.
///
/// # Source
/// A share of a cost in the proportion of the prices: common practice, no source.
pub fn borne(lines: &[BorneLine]) -> Result<ShopShares, MoneyRefusal> {
    let share = |covers: Covers| {
        let of_kind = || lines.iter().filter(|line| line.covers == Some(covers));
        Ok(ShopShare {
            shop: Cents::sum(of_kind().map(|line| line.shop))?,
            whole: Cents::sum(of_kind().map(|line| line.price))?,
        })
    };
    Ok(ShopShares {
        parts: share(Covers::Parts)?,
        labour: share(Covers::Labour)?,
        trip: share(Covers::Trip)?,
    })
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

/// A trip that was made for a call, and which of the calls it was planned for this one is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SharedTrip {
    /// Calls it was planned for, this one included.
    pub calls: usize,
    /// Of these, the calls taken before this one.
    pub before: usize,
}

impl SharedTrip {
    /// This call's part of what the trip costs the shop: all calls it was planned for share it alike, whatever became of
    /// them, and cents that are left go to those taken first. So the parts of all of them add up to the cost.
    ///
    /// # Errors
    /// `MoneyRefusal::TooLarge` for a trip that is planned for none, or not for this one.
    ///
    /// # Source
    /// Equal parts by the largest remainder: common practice, no source.
    ///
    /// # Example
    /// ```
    /// use nameplate_rules::coverage::SharedTrip;
    /// use nameplate_rules::money::Cents;
    /// let third = |before| SharedTrip { calls: 3, before }.part_of(Cents(4_000));
    /// assert_eq!([third(0), third(1), third(2)], [Ok(Cents(1_334)), Ok(Cents(1_333)), Ok(Cents(1_333))]);
    /// ```
    pub fn part_of(self, cost: Cents) -> Result<Cents, MoneyRefusal> {
        let parts = spread_by_cents(cost, &vec![Cents(1); self.calls]);
        let parts = parts.map_err(|_: SpreadRefusal| MoneyRefusal::TooLarge)?;
        parts
            .get(self.before)
            .copied()
            .ok_or(MoneyRefusal::TooLarge)
    }
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
        let ShopShares {
            parts,
            labour,
            trip,
        } = borne(&lines).unwrap();
        assert_eq!(parts.of(Cents(2_500)), Ok(Cents(833)));
        assert_eq!(labour_cost(30, Cents(8_002)), Ok(Cents(4_001)));
        assert_eq!(labour.of(Cents(4_001)), Ok(Cents(2_001)));
        assert_eq!(labour_cost(1, Cents(30)), Ok(Cents(1)), "half a cent");
        assert!(!parts.is_all());
        assert_eq!(trip.of(Cents(3_000)), Ok(Cents(0)));
    }

    #[test]
    fn nothing_is_borne_of_what_has_no_price_and_all_of_what_is_all_the_shops() {
        let none = borne(&[]).unwrap();
        assert_eq!(none.parts.of(Cents(700)), Ok(Cents(0)));
        assert_eq!(none, ShopShares::of_all(ShopShare::NOTHING));
        assert_eq!(ShopShare::ALL.of(Cents(701)), Ok(Cents(701)));
        assert_eq!(ShopShare::NOTHING.of(Cents(701)), Ok(Cents(0)));
        let whole = [line(Some(Covers::Parts), (9, 9))];
        assert!(borne(&whole).unwrap().parts.is_all());
    }

    #[test]
    fn a_trip_for_no_call_or_for_others_has_no_part() {
        let none = SharedTrip {
            calls: 0,
            before: 0,
        };
        let of_others = SharedTrip {
            calls: 2,
            before: 2,
        };
        for trip in [none, of_others] {
            assert_eq!(trip.part_of(Cents(100)), Err(MoneyRefusal::TooLarge));
        }
    }

    proptest! {
        #[test]
        fn what_calls_bear_of_a_trip_adds_up_to_what_it_costs(calls in 1_usize..=20, cost in 0_i64..1_000_000) {
            let parts = (0..calls).map(|before| SharedTrip { calls, before }.part_of(Cents(cost)).unwrap().0);
            let parts = parts.collect::<Vec<_>>();
            prop_assert_eq!(parts.iter().sum::<i64>(), cost);
            let (least, most) = (parts.iter().min().unwrap(), parts.iter().max().unwrap());
            prop_assert!(most - least <= 1);
        }

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
