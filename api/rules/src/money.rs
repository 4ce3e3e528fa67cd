//! Money as whole minor units, and the two ways an amount is cut up or rounded.
//!
//! It is here so that no other module does arithmetic on bare integers or rounds in its own way.
//! What must stay true: no float touches an amount, a sum that does not fit is refused and never
//! wraps, rounding happens half away from zero, and the parts of a spread add up to what was spread.

use std::fmt;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// Why a text or a calculation does not give an amount of money.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MoneyRefusal {
    /// The text holds nothing but blanks.
    #[error("an amount is missing: write it like 12.50")]
    Empty,
    /// The text is not digits with an optional sign, thousands commas and decimal point.
    #[error("{text:?} is not an amount: write it like 1,234.50")]
    NotAnAmount { text: String },
    /// More decimals than the currency has.
    #[error("{text:?} has more than {allowed} decimals")]
    TooManyDecimals { text: String, allowed: u32 },
    /// The amount or the result of a sum or product does not fit into 64 bits.
    #[error("the amount is too large to be kept")]
    TooLarge,
    /// The currency is not in the list, or the standard gives it no minor unit.
    #[error("currency {code:?} is not known here, or has no minor unit")]
    UnknownCurrency { code: String },
}

/// Why an amount cannot be spread over lines.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SpreadRefusal {
    /// The weights add up to nothing, yet there is something to spread.
    #[error("{total} cannot be spread over lines that add up to zero")]
    NoWeight { total: Cents },
    /// The exact shares do not fit the integers they are computed in.
    #[error("{total} cannot be spread: the weights are too large")]
    TooLarge { total: Cents },
}

/// An amount of money in whole minor units (cents for the dollar); negative for credits.
///
/// Range: that of `i64`. Serialised as the bare number, so no reader sees a float.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Cents(pub i64);

impl Cents {
    /// Nothing.
    pub const ZERO: Self = Self(0);

    /// This amount and another; `None` if the sum does not fit.
    #[must_use]
    pub const fn checked_add(self, other: Self) -> Option<Self> {
        match self.0.checked_add(other.0) {
            Some(sum) => Some(Self(sum)),
            None => None,
        }
    }

    /// This amount less another; `None` if the difference does not fit.
    #[must_use]
    pub const fn checked_sub(self, other: Self) -> Option<Self> {
        match self.0.checked_sub(other.0) {
            Some(difference) => Some(Self(difference)),
            None => None,
        }
    }

    /// The same amount with the other sign; `None` only for the most negative amount there is.
    #[must_use]
    pub const fn checked_neg(self) -> Option<Self> {
        match self.0.checked_neg() {
            Some(negated) => Some(Self(negated)),
            None => None,
        }
    }

    /// Sum of any number of amounts; nothing sums to zero.
    ///
    /// # Errors
    /// `MoneyRefusal::TooLarge` if the running sum leaves the range.
    pub fn sum(amounts: impl IntoIterator<Item = Self>) -> Result<Self, MoneyRefusal> {
        amounts
            .into_iter()
            .try_fold(Self::ZERO, Self::checked_add)
            .ok_or(MoneyRefusal::TooLarge)
    }

    /// Whether the amount is below zero.
    #[must_use]
    pub const fn is_negative(self) -> bool {
        self.0 < 0
    }

    /// Reads an amount with at most two decimals, such as `12.5`, `-3`, `1,234.50`.
    ///
    /// # Errors
    /// See [`Currency::parse`].
    pub fn parse(text: &str) -> Result<Self, MoneyRefusal> {
        parse_minor_units(text, 2)
    }

    /// Rounds an exact number *of cents* (72.5, not 0.725) half away from zero.
    ///
    /// # Errors
    /// `MoneyRefusal::TooLarge` if the rounded number leaves the range.
    /// # Source
    /// EN 16931 examples BIS3 positive and negative: a half cent goes away from zero in both signs.
    pub fn from_decimal_half_up(cents: Decimal) -> Result<Self, MoneyRefusal> {
        ratio_half_up(cents.mantissa(), power_of_ten(cents.scale())?)
    }

    /// This amount times an exact factor, rounded half away from zero once.
    ///
    /// # Errors
    /// `MoneyRefusal::TooLarge` if the exact product or the result does not fit.
    pub fn times_half_up(self, factor: Decimal) -> Result<Self, MoneyRefusal> {
        let product = i128::from(self.0)
            .checked_mul(factor.mantissa())
            .ok_or(MoneyRefusal::TooLarge)?;
        ratio_half_up(product, power_of_ten(factor.scale())?)
    }
}

impl fmt::Display for Cents {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&format_minor_units(self.0, 2))
    }
}

/// A currency: its three-letter code and how many decimals its minor unit has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Currency {
    /// Code in capitals, such as `USD`.
    pub code: &'static str,
    /// Decimals of the minor unit: 2 for USD, 0 for JPY, 3 for KWD.
    pub minor_units: u32,
}

/// The currencies known here.
///
/// Source: ISO 4217 list one, minor unit column.
const CURRENCIES: [Currency; 9] = [
    currency("BHD", 3),
    currency("CAD", 2),
    currency("EUR", 2),
    currency("GBP", 2),
    currency("JPY", 0),
    currency("KRW", 0),
    currency("KWD", 3),
    currency("MXN", 2),
    currency("USD", 2),
];

const fn currency(code: &'static str, minor_units: u32) -> Currency {
    Currency { code, minor_units }
}

impl Currency {
    /// The currency with this code, in capitals as the standard prints it.
    ///
    /// # Errors
    /// `MoneyRefusal::UnknownCurrency` for a code not listed or one without a minor unit (XDR, metals).
    /// # Source
    /// ISO 4217.
    pub fn get(code: &str) -> Result<Self, MoneyRefusal> {
        CURRENCIES
            .into_iter()
            .find(|known| known.code == code)
            .ok_or_else(|| MoneyRefusal::UnknownCurrency {
                code: code.to_owned(),
            })
    }

    /// Reads an amount of this currency into whole minor units.
    ///
    /// Thousands commas are taken only where they belong, so `12,50` is refused and not read as 1250.
    ///
    /// # Errors
    /// `Empty`, `NotAnAmount`, `TooManyDecimals` (never rounded silently), `TooLarge`.
    pub fn parse(self, text: &str) -> Result<Cents, MoneyRefusal> {
        parse_minor_units(text, self.minor_units)
    }

    /// Writes whole minor units as an amount of this currency, without code or thousands commas.
    #[must_use]
    pub fn format(self, amount: Cents) -> String {
        format_minor_units(amount.0, self.minor_units)
    }
}

/// Spreads an amount over lines in proportion to their weights, by largest remainder.
///
/// Shape: one share for each weight, in order. The shares add up to `total` exactly; equal
/// remainders favour the earlier line; a line of weight zero gets nothing; turning the sign of the total turns
/// the sign of every share. Weights may be negative (a returned part): such a line gets a share of
/// the other sign.
///
/// # Errors
/// `NoWeight` if the weights add up to zero and the total does not; `TooLarge`.
/// # Source
/// Largest remainder method; common practice for splitting discounts, no statute.
/// # Example
/// ```
/// use nameplate_rules::money::{Cents, spread};
/// use rust_decimal::Decimal;
/// let shares = spread(Cents(100), &[Decimal::ONE; 3])?;
/// assert_eq!(shares, [Cents(34), Cents(33), Cents(33)]);
/// # Ok::<(), nameplate_rules::money::SpreadRefusal>(())
/// ```
pub fn spread(total: Cents, weights: &[Decimal]) -> Result<Vec<Cents>, SpreadRefusal> {
    let whole = whole_weights(weights).ok_or(SpreadRefusal::TooLarge { total })?;
    spread_whole(total, &whole)
}

/// [`spread`] with amounts as weights, such as the net of each line.
///
/// # Errors
/// As [`spread`].
pub fn spread_by_cents(total: Cents, weights: &[Cents]) -> Result<Vec<Cents>, SpreadRefusal> {
    let whole: Vec<i128> = weights.iter().map(|w| i128::from(w.0)).collect();
    spread_whole(total, &whole)
}

/// [`spread`] with whole numbers as weights.
pub(crate) fn spread_whole(total: Cents, weights: &[i128]) -> Result<Vec<Cents>, SpreadRefusal> {
    let too_large = || SpreadRefusal::TooLarge { total };
    let sum = weights
        .iter()
        .try_fold(0_i128, |sum, weight| sum.checked_add(*weight))
        .ok_or_else(too_large)?;
    if total == Cents::ZERO {
        return Ok(vec![Cents::ZERO; weights.len()]);
    }
    if sum == 0 {
        return Err(SpreadRefusal::NoWeight { total });
    }
    let exact: Option<Vec<i128>> = weights
        .iter()
        .map(|weight| i128::from(total.0).checked_mul(*weight))
        .collect();
    largest_remainder(total, &exact.ok_or_else(too_large)?, sum).ok_or_else(too_large)
}

/// Rounds exact shares (numerators over one denominator) to whole cents that add up to `total`.
///
/// Each share is first cut down to the next lower cent; what is left goes, one cent each, to the
/// largest remainders. Negative totals are worked with turned signs, so that a credit mirrors its invoice.
/// Shares that are exactly zero are left out of the handing round.
/// `None` if a number does not fit, or if there is something left and no line to take it.
pub(crate) fn largest_remainder(
    total: Cents,
    numerators: &[i128],
    denominator: i128,
) -> Option<Vec<Cents>> {
    let turned = total.is_negative();
    let flip = turned != (denominator < 0);
    let divisor = denominator.checked_abs()?;
    let mut shares = Vec::with_capacity(numerators.len());
    for numerator in numerators {
        let signed = if flip {
            numerator.checked_neg()?
        } else {
            *numerator
        };
        shares.push((
            signed.checked_div_euclid(divisor)?,
            signed.checked_rem_euclid(divisor)?,
            signed != 0,
        ));
    }
    let floors = shares
        .iter()
        .try_fold(0_i128, |sum, s| sum.checked_add(s.0))?;
    let left = i128::from(total.0).checked_abs()?.checked_sub(floors)?;
    hand_round(&mut shares, left)?;
    shares
        .into_iter()
        .map(|(share, _, _)| {
            let signed = if turned { share.checked_neg()? } else { share };
            i64::try_from(signed).ok().map(Cents)
        })
        .collect()
}

/// Hands `left` cents to the shares that are not zero: full rounds first, then largest remainders.
fn hand_round(shares: &mut [(i128, i128, bool)], left: i128) -> Option<()> {
    if left == 0 {
        return Some(());
    }
    let mut takers: Vec<&mut (i128, i128, bool)> = shares.iter_mut().filter(|s| s.2).collect();
    let count = i128::try_from(takers.len()).ok()?;
    let round = left.checked_div_euclid(count)?;
    let extra = usize::try_from(left.checked_rem_euclid(count)?).ok()?;
    // A stable sort keeps the earlier line first among equal remainders.
    takers.sort_by_key(|taker| std::cmp::Reverse(taker.1));
    for (place, taker) in takers.into_iter().enumerate() {
        let one = i128::from(place < extra);
        taker.0 = taker.0.checked_add(round)?.checked_add(one)?;
    }
    Some(())
}

/// Decimals brought to one scale, as whole numbers.
pub(crate) fn whole_weights(weights: &[Decimal]) -> Option<Vec<i128>> {
    let scale = weights.iter().map(Decimal::scale).max().unwrap_or(0);
    weights
        .iter()
        .map(|weight| {
            let lift = power_of_ten(scale.checked_sub(weight.scale())?).ok()?;
            weight.mantissa().checked_mul(lift)
        })
        .collect()
}

/// Quotient rounded half away from zero. The denominator must be above zero.
pub(crate) fn ratio_half_up(numerator: i128, denominator: i128) -> Result<Cents, MoneyRefusal> {
    let quotient = numerator
        .checked_div(denominator)
        .ok_or(MoneyRefusal::TooLarge)?;
    let rest = numerator
        .checked_rem(denominator)
        .ok_or(MoneyRefusal::TooLarge)?;
    // `rest >= denominator - rest` is `2 * rest >= denominator` without the overflow.
    let away = match rest.checked_abs() {
        Some(size) if size >= denominator - size => numerator.signum(),
        _ => 0,
    };
    i64::try_from(quotient + away)
        .map(Cents)
        .map_err(|_| MoneyRefusal::TooLarge)
}

pub(crate) fn power_of_ten(exponent: u32) -> Result<i128, MoneyRefusal> {
    10_i128.checked_pow(exponent).ok_or(MoneyRefusal::TooLarge)
}

fn parse_minor_units(text: &str, minor_units: u32) -> Result<Cents, MoneyRefusal> {
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err(MoneyRefusal::Empty);
    }
    let not_an_amount = || MoneyRefusal::NotAnAmount {
        text: trimmed.to_owned(),
    };
    let (negative, unsigned) = match trimmed.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, trimmed),
    };
    let (whole, decimals) = match unsigned.split_once('.') {
        Some((_, "")) => return Err(not_an_amount()),
        Some((whole, decimals)) => (whole, decimals),
        None => (unsigned, ""),
    };
    let digits = without_thousands_commas(whole).ok_or_else(not_an_amount)?;
    if !is_digits(&digits) || !decimals.bytes().all(|b| b.is_ascii_digit()) {
        return Err(not_an_amount());
    }
    let width = usize::try_from(minor_units).map_err(|_| MoneyRefusal::TooLarge)?;
    if decimals.len() > width {
        return Err(MoneyRefusal::TooManyDecimals {
            text: trimmed.to_owned(),
            allowed: minor_units,
        });
    }
    let sign = if negative { "-" } else { "" };
    format!("{sign}{digits}{decimals:0<width$}")
        .parse()
        .map(Cents)
        .map_err(|_| MoneyRefusal::TooLarge)
}

/// The digits without their commas, or `None` if a comma stands where no thousand ends.
fn without_thousands_commas(whole: &str) -> Option<String> {
    if !whole.contains(',') {
        return Some(whole.to_owned());
    }
    let mut groups = whole.split(',');
    let first = groups.next()?;
    let well_placed = (1..=3).contains(&first.len()) && groups.all(|group| group.len() == 3);
    well_placed.then(|| whole.replace(',', ""))
}

fn is_digits(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit())
}

fn format_minor_units(amount: i64, minor_units: u32) -> String {
    let sign = if amount < 0 { "-" } else { "" };
    let divisor = 10_u64.checked_pow(minor_units).unwrap_or(u64::MAX);
    let size = amount.unsigned_abs();
    if minor_units == 0 {
        return format!("{sign}{size}");
    }
    let width = usize::try_from(minor_units).unwrap_or(0);
    format!("{sign}{}.{:0width$}", size / divisor, size % divisor)
}

#[cfg(test)]
mod tests;
