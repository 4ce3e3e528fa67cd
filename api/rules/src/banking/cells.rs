//! What stands in the cells of a bank's statement: days and amounts, each written in its bank's own way.
//!
//! What must stay true: a cell that could be read in two ways is refused, never guessed.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::money::Cents;

/// In which order a date names its parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DateOrder {
    YearMonthDay,
    MonthDayYear,
    DayMonthYear,
}

/// What stands before the cents; the other sign, a blank or an apostrophe may part thousands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DecimalSign {
    Point,
    Comma,
}

impl DecimalSign {
    fn sign(self) -> char {
        match self {
            Self::Point => '.',
            Self::Comma => ',',
        }
    }

    fn is_thousands(self, c: char) -> bool {
        let other = match self {
            Self::Point => ',',
            Self::Comma => '.',
        };
        c == other || matches!(c, '\'' | '\u{2019}' | ' ' | '\u{a0}' | '\u{202f}')
    }
}

/// Why a cell cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum CellFault {
    /// Not a day in the order the layout says.
    #[error("this is no day in the order that the layout says")]
    NoDay,
    /// Not an amount with the decimal sign of the layout and at most two decimals.
    #[error("this is no amount with the decimal sign that the layout says")]
    NoAmount,
    /// An amount in other money than the shop's.
    #[error("this is in another currency than the shop's")]
    OtherCurrency,
    /// Money in and money out on one line, or neither.
    #[error("a line has money in or money out, one of the two")]
    InAndOut,
}

/// A day. Parts stand between any of `- / .` or blanks; eight digits need none when the year comes first. A year of two
/// digits is of this century. A time behind a blank or a `T` is left out.
///
/// # Errors
/// `NoDay`.
///
/// # Example
/// ```
/// use nameplate_rules::banking::cells::{DateOrder, read_day};
/// # fn main() -> Result<(), nameplate_rules::banking::cells::CellFault> {
/// assert_eq!(read_day("03/31/2026", DateOrder::MonthDayYear)?.to_string(), "2026-03-31");
/// # Ok(()) }
/// ```
pub fn read_day(text: &str, order: DateOrder) -> Result<NaiveDate, CellFault> {
    let text = text.trim();
    let day_alone = text.split(['T', ' ']).next().unwrap_or_default();
    if order == DateOrder::YearMonthDay && day_alone.len() == 8 && is_digits(day_alone) {
        let (year, rest) = day_alone.split_at_checked(4).ok_or(CellFault::NoDay)?;
        let (month, day) = rest.split_at_checked(2).ok_or(CellFault::NoDay)?;
        return from_parts(year, month, day);
    }
    let parts: Vec<&str> = day_alone.split(['-', '/', '.']).collect();
    let [first, second, third] = parts.as_slice() else {
        return Err(CellFault::NoDay);
    };
    match order {
        DateOrder::YearMonthDay => from_parts(first, second, third),
        DateOrder::MonthDayYear => from_parts(third, first, second),
        DateOrder::DayMonthYear => from_parts(third, second, first),
    }
}

fn from_parts(year: &str, month: &str, day: &str) -> Result<NaiveDate, CellFault> {
    let year = match year.len() {
        4 => number(year)?,
        2 => number(year)?.saturating_add(2_000),
        _ => return Err(CellFault::NoDay),
    };
    let year = i32::try_from(year).map_err(|_| CellFault::NoDay)?;
    NaiveDate::from_ymd_opt(year, number(month)?, number(day)?).ok_or(CellFault::NoDay)
}

fn number(text: &str) -> Result<u32, CellFault> {
    if !is_digits(text) || text.len() > 4 {
        return Err(CellFault::NoDay);
    }
    text.parse().map_err(|_| CellFault::NoDay)
}

fn filled(text: &str) -> Option<&str> {
    Some(text.trim()).filter(|text| !text.is_empty())
}

fn is_digits(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit())
}

/// How the money of a line is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Written<'a> {
    /// One amount, below zero for money out.
    Signed(&'a str),
    /// Two columns of which one is filled; the sign of money out does not matter.
    InOrOut { money_in: &'a str, out: &'a str },
}

/// The amount of a line, above zero for money in; zero where the bank only tells something.
///
/// # Errors
/// `NoAmount`, `OtherCurrency`, `InAndOut`.
pub fn read_amount(
    written: Written<'_>,
    sign: DecimalSign,
    currency: &str,
) -> Result<Cents, CellFault> {
    let read = |text: &str| cents(text, sign, currency);
    match written {
        Written::Signed(text) => read(text),
        Written::InOrOut { money_in, out } => {
            let (money_in, out) = (filled(money_in).map(read), filled(out).map(read));
            match (money_in.transpose()?, out.transpose()?) {
                (Some(amount), None | Some(Cents::ZERO)) if amount >= Cents::ZERO => Ok(amount),
                (None | Some(Cents::ZERO), Some(amount)) if amount <= Cents::ZERO => Ok(amount),
                (None | Some(Cents::ZERO), Some(amount)) => {
                    amount.checked_neg().ok_or(CellFault::NoAmount)
                }
                _ => Err(CellFault::InAndOut),
            }
        }
    }
}

/// Whether a currency code in a cell is the shop's; an empty cell says nothing against it.
#[must_use]
pub fn is_shops(code: &str, currency: &str) -> bool {
    code.trim().is_empty() || code.trim().eq_ignore_ascii_case(currency)
}

/// One amount: a sign before or behind it, or brackets for below zero; the shop's own currency may stand by it.
fn cents(text: &str, sign: DecimalSign, currency: &str) -> Result<Cents, CellFault> {
    let text = without_currency(text.trim(), currency)?;
    let (text, is_below) = signed(text.trim())?;
    let (whole, rest) = text.split_once(sign.sign()).unwrap_or((text, ""));
    let digits = digits_of(whole, sign)?;
    if rest.len() > 2 || !(rest.is_empty() || is_digits(rest)) {
        return Err(CellFault::NoAmount);
    }
    let cents: i64 = format!("{digits}{rest:0<2}")
        .parse()
        .map_err(|_| CellFault::NoAmount)?;
    Ok(Cents(if is_below { -cents } else { cents }))
}

/// The amount without the name or sign of the shop's currency before or behind it.
fn without_currency(text: &str, currency: &str) -> Result<String, CellFault> {
    let symbol = match currency {
        "USD" | "CAD" | "AUD" | "NZD" => "$",
        "EUR" => "\u{20ac}",
        "GBP" => "\u{a3}",
        _ => currency,
    };
    let is_foreign = |c: char| {
        c.is_alphabetic() || matches!(c, '$' | '\u{a2}'..='\u{a5}' | '\u{20a0}'..='\u{20cf}')
    };
    let is_sign = |text: &str| text.chars().all(|c| "-+() ".contains(c));
    let bare = [currency, symbol].into_iter().find_map(|name| {
        let (before, behind) = text.split_once(name)?;
        (is_sign(before) || is_sign(behind)).then(|| format!("{before}{behind}"))
    });
    let bare = bare.unwrap_or_else(|| text.to_owned());
    let foreign: String = bare.chars().filter(|c| is_foreign(*c)).collect();
    if foreign.is_empty() {
        return Ok(bare);
    }
    // A currency's code or sign beside digits; other letters are no amount at all.
    let is_beside = bare.trim().starts_with(&foreign) || bare.trim().ends_with(&foreign);
    let is_code = foreign.chars().count() == 3 && foreign.chars().all(char::is_alphabetic);
    let is_symbol = !foreign.contains(char::is_alphabetic);
    let has_digits = bare.contains(|c: char| c.is_ascii_digit());
    Err(if has_digits && is_beside && (is_code || is_symbol) {
        CellFault::OtherCurrency
    } else {
        CellFault::NoAmount
    })
}

/// The digits with their sign taken off.
fn signed(text: &str) -> Result<(&str, bool), CellFault> {
    let bracketed = text
        .strip_prefix('(')
        .and_then(|text| text.strip_suffix(')'));
    let behind = text.strip_suffix('-');
    let (text, is_below) = match (bracketed, text.strip_prefix('-'), behind) {
        (Some(text), _, _) | (_, Some(text), _) | (_, _, Some(text)) => (text, true),
        _ => (text.strip_prefix('+').unwrap_or(text), false),
    };
    if text.contains(['-', '+', '(', ')']) {
        return Err(CellFault::NoAmount);
    }
    Ok((text.trim(), is_below))
}

/// The digits before the decimal sign; thousands are parted by one sign, three digits each.
fn digits_of(whole: &str, sign: DecimalSign) -> Result<String, CellFault> {
    let groups: Vec<&str> = whole.split(|c| sign.is_thousands(c)).collect();
    let well_parted = match groups.split_first() {
        Some((first, rest)) => {
            (1..=if rest.is_empty() { 15 } else { 3 }).contains(&first.len())
                && rest.iter().all(|group| group.len() == 3)
                && groups.iter().all(|group| is_digits(group))
        }
        None => false,
    };
    let mut parting: Vec<char> = whole.chars().filter(|c| sign.is_thousands(*c)).collect();
    parting.dedup();
    if !well_parted || parting.len() > 1 {
        return Err(CellFault::NoAmount);
    }
    Ok(groups.concat())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn amount(text: &str, sign: DecimalSign) -> Result<i64, CellFault> {
        read_amount(Written::Signed(text), sign, "USD").map(|amount| amount.0)
    }

    /// Common practice of bank files, no source.
    #[test]
    fn amounts_are_read_with_sign_brackets_thousands_and_the_shops_currency() {
        use DecimalSign::{Comma, Point};
        for (text, sign, expected) in [
            ("1,234.56", Point, 123_456),
            ("-1234.5", Point, -123_450),
            ("(12.00)", Point, -1_200),
            ("12.00-", Point, -1_200),
            ("+7", Point, 700),
            ("$1,234.56", Point, 123_456),
            ("-$12.00", Point, -1_200),
            ("($12.00)", Point, -1_200),
            ("$-12.00", Point, -1_200),
            ("12.00 USD", Point, 1_200),
            ("1.234,56", Comma, 123_456),
            ("-1 234 567,00", Comma, -123_456_700),
            ("0.00", Point, 0),
        ] {
            assert_eq!(amount(text, sign), Ok(expected), "{text}");
        }
    }

    #[test]
    fn what_could_mean_two_amounts_or_other_money_is_refused() {
        use CellFault::{NoAmount, OtherCurrency};
        for (text, fault) in [
            ("", NoAmount),
            ("1,23", NoAmount),
            ("1.234", NoAmount),
            ("1,234 567.00", NoAmount),
            ("--1.00", NoAmount),
            ("1.00.00", NoAmount),
            ("1e3", NoAmount),
            ("NaN", NoAmount),
            ("12.00 EUR", OtherCurrency),
            ("\u{20ac}12.00", OtherCurrency),
            ("99999999999999999999.00", NoAmount),
        ] {
            assert_eq!(amount(text, DecimalSign::Point), Err(fault), "{text}");
        }
    }

    #[test]
    fn one_of_two_columns_says_in_or_out() {
        let read = |money_in, out| {
            let written = Written::InOrOut { money_in, out };
            read_amount(written, DecimalSign::Point, "USD").map(|amount| amount.0)
        };
        assert_eq!(read("12.00", ""), Ok(1_200));
        assert_eq!(read("", "12.00"), Ok(-1_200));
        assert_eq!(read("0.00", "-12.00"), Ok(-1_200));
        assert_eq!(read("12.00", "0.00"), Ok(1_200));
        assert_eq!(read("", ""), Err(CellFault::InAndOut));
        assert_eq!(read("1.00", "2.00"), Err(CellFault::InAndOut));
        assert_eq!(read("-1.00", ""), Err(CellFault::InAndOut));
    }

    #[test]
    fn days_are_read_in_the_order_that_was_said() {
        use DateOrder::{DayMonthYear, MonthDayYear, YearMonthDay};
        for (text, order, expected) in [
            ("2026-03-31", YearMonthDay, Ok("2026-03-31")),
            ("20260331", YearMonthDay, Ok("2026-03-31")),
            ("2026-03-31T08:15:00", YearMonthDay, Ok("2026-03-31")),
            ("3/4/26", MonthDayYear, Ok("2026-03-04")),
            ("3.4.2026", DayMonthYear, Ok("2026-04-03")),
            ("31/03/2026", MonthDayYear, Err(CellFault::NoDay)),
            ("2026-02-30", YearMonthDay, Err(CellFault::NoDay)),
            ("260331", YearMonthDay, Err(CellFault::NoDay)),
            ("", YearMonthDay, Err(CellFault::NoDay)),
            ("12026-03-31", YearMonthDay, Err(CellFault::NoDay)),
        ] {
            let day = read_day(text, order).map(|day| day.to_string());
            assert_eq!(day, expected.map(str::to_owned), "{text}");
        }
    }

    proptest! {
        #[test]
        fn an_amount_as_it_is_printed_is_read_again(cents in -1_000_000_000_000_i64..1_000_000_000_000) {
            let printed = Cents(cents).to_string();
            prop_assert_eq!(amount(&printed, DecimalSign::Point), Ok(cents));
        }

        #[test]
        fn no_cell_panics(text in "\\PC{0,24}", comma in any::<bool>()) {
            let sign = if comma { DecimalSign::Comma } else { DecimalSign::Point };
            let _ = amount(&text, sign);
            for order in [DateOrder::YearMonthDay, DateOrder::MonthDayYear, DateOrder::DayMonthYear] {
                let _ = read_day(&text, order);
            }
        }
    }
}
