//! A percentage between 0 and 100, for tax rates, discounts and tolerances.
//!
//! It is here so that a rate is checked once, where it enters, and read as "per hundred" everywhere.
//! Markups may exceed 100 % and are therefore plain decimals, not this type.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal, power_of_ten, ratio_half_up};

/// The most decimals a percentage may have. Published rates need four or fewer.
const DECIMALS_MAX: u32 = 6;

/// Why a number is not a percentage.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PercentRefusal {
    /// Above one hundred.
    #[error("{rate} % is more than 100 %")]
    RateOver100 { rate: Decimal },
    /// Below zero.
    #[error("{rate} % is less than nothing")]
    Negative { rate: Decimal },
    /// More than six decimals.
    #[error("{rate} % has more than {DECIMALS_MAX} decimals")]
    TooManyDecimals { rate: Decimal },
    /// Not a decimal number.
    #[error("{text:?} is not a percentage: write it like 7.25")]
    NotANumber { text: String },
}

/// A percentage: 7.25 means 7.25 per hundred. Range 0 to 100, at most six decimals.
///
/// Trailing zeros are dropped, so 8.250 and 8.25 are one value and print alike. Serialised as text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Percent(Decimal);

impl Percent {
    /// No percent.
    pub const ZERO: Self = Self(Decimal::ZERO);

    /// Checks a rate given per hundred.
    ///
    /// # Errors
    /// `Negative`, `RateOver100`, `TooManyDecimals`, in this order.
    pub fn new(rate: Decimal) -> Result<Self, PercentRefusal> {
        let rate = rate.normalize();
        if rate < Decimal::ZERO {
            return Err(PercentRefusal::Negative { rate });
        }
        if rate > Decimal::ONE_HUNDRED {
            return Err(PercentRefusal::RateOver100 { rate });
        }
        if rate.scale() > DECIMALS_MAX {
            return Err(PercentRefusal::TooManyDecimals { rate });
        }
        Ok(Self(rate))
    }

    /// Reads a rate such as `7.25`, without a percent sign.
    ///
    /// # Errors
    /// `NotANumber`, else as [`Percent::new`].
    pub fn parse(text: &str) -> Result<Self, PercentRefusal> {
        let rate =
            Decimal::from_str_exact(text.trim()).map_err(|_| PercentRefusal::NotANumber {
                text: text.to_owned(),
            })?;
        Self::new(rate)
    }

    /// The number per hundred.
    #[must_use]
    pub const fn per_hundred(self) -> Decimal {
        self.0
    }

    /// Sum of several rates, such as the levels of a jurisdiction.
    ///
    /// # Errors
    /// `RateOver100` if they add up to more than 100 %.
    pub fn sum(rates: impl IntoIterator<Item = Self>) -> Result<Self, PercentRefusal> {
        rates.into_iter().try_fold(Self::ZERO, |sum, rate| {
            // Both are at most 100 with six decimals, so the sum is exact.
            Self::new(sum.0 + rate.0)
        })
    }

    /// This share of an amount, rounded half away from zero once.
    ///
    /// # Errors
    /// `MoneyRefusal::TooLarge` if the exact product does not fit.
    pub fn of(self, amount: Cents) -> Result<Cents, MoneyRefusal> {
        let (numerator, denominator) = self.exact_of(amount)?;
        ratio_half_up(numerator, denominator)
    }

    /// This share of an amount as an exact fraction of a cent.
    pub(crate) fn exact_of(self, amount: Cents) -> Result<(i128, i128), MoneyRefusal> {
        let numerator = i128::from(amount.0)
            .checked_mul(self.0.mantissa())
            .ok_or(MoneyRefusal::TooLarge)?;
        let denominator = power_of_ten(self.0.scale())?
            .checked_mul(100)
            .ok_or(MoneyRefusal::TooLarge)?;
        Ok((numerator, denominator))
    }
}

impl fmt::Display for Percent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl FromStr for Percent {
    type Err = PercentRefusal;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::parse(text)
    }
}

impl TryFrom<String> for Percent {
    type Error = PercentRefusal;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        Self::parse(&text)
    }
}

impl From<Percent> for String {
    fn from(percent: Percent) -> Self {
        percent.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rate_reads_prints_and_travels_as_text() {
        let rate = Percent::parse("8.250").unwrap();
        assert_eq!(rate.to_string(), "8.25");
        let json = serde_json::to_string(&rate).unwrap();
        assert_eq!(json, "\"8.25\"");
        assert_eq!(serde_json::from_str::<Percent>(&json).unwrap(), rate);
    }

    #[test]
    fn a_rate_outside_nought_to_a_hundred_is_refused_with_the_rate() {
        assert!(Percent::parse("0").is_ok());
        assert!(Percent::parse("100").is_ok());
        assert!(matches!(
            Percent::parse("100.01"),
            Err(PercentRefusal::RateOver100 { rate }) if rate.to_string() == "100.01"
        ));
        assert!(matches!(
            Percent::parse("-0.01"),
            Err(PercentRefusal::Negative { .. })
        ));
        assert!(matches!(
            Percent::parse("1.0000001"),
            Err(PercentRefusal::TooManyDecimals { .. })
        ));
        for text in ["", "7,25", "7.25 %", "seven", "1e2"] {
            assert!(matches!(
                Percent::parse(text),
                Err(PercentRefusal::NotANumber { .. })
            ));
        }
        assert!(serde_json::from_str::<Percent>("\"101\"").is_err());
    }

    #[test]
    fn levels_that_add_up_to_more_than_a_hundred_are_refused() {
        let sixty = Percent::parse("60").unwrap();
        assert!(matches!(
            Percent::sum([sixty, sixty]),
            Err(PercentRefusal::RateOver100 { .. })
        ));
    }

    #[test]
    fn a_share_rounds_half_away_from_zero_in_both_signs() {
        let rate = Percent::parse("7.25").unwrap();
        assert_eq!(rate.of(Cents(1_000)), Ok(Cents(73)));
        assert_eq!(rate.of(Cents(-1_000)), Ok(Cents(-73)));
    }
}
