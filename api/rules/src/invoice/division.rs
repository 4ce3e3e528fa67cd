//! One sale divided over several payers, line by line: whole lines, percentages, or amounts of a line; the rest to one.
//!
//! Who pays does not change the sale, so nothing is priced or taxed again: the figures of each line are cut up as they
//! stand. What must stay true: the parts of a line add up to it in every figure, the parts of each tax level add up to
//! it, and each payer's own lines carry the tax of that payer's levels, whatever the signs.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::estimate::Shown;
use crate::money::{
    Cents, MoneyRefusal, SpreadRefusal, largest_remainder, spread_whole, whole_weights,
};
use crate::percent::Percent;
use crate::tax::ChargeKind;

use super::credit::{LevelPart, LineAmounts};

mod levels;
use levels::divide_levels;

/// A line of the sale as it is billed in whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct SaleLine {
    /// What it charges for; levels may leave a kind alone.
    pub kind: ChargeKind,
    /// Its figures.
    pub amounts: LineAmounts,
    /// What of its discount is granted on it alone.
    #[serde(default)]
    pub own_discount: Cents,
    /// Price and discount with the tax they hold, where prices hold it.
    #[serde(default)]
    pub shown: Option<Shown>,
}

/// A tax level of the sale.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SaleLevel {
    /// Its rate, by which lines share their tax among the levels.
    pub rate: Percent,
    /// Kinds of charge it leaves alone.
    #[serde(default)]
    pub exempts: Vec<ChargeKind>,
    /// What it is charged on.
    pub taxable: Cents,
    /// Its tax.
    pub tax: Cents,
}

/// How much of a line somebody pays.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Portion {
    /// All of it.
    Whole,
    /// So much of a hundred.
    Percent(Percent),
    /// So much of its price after discount, before tax; of its sign.
    Amount(Cents),
}

/// That a payer takes a portion of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Taking {
    /// Place of the payer, from 1; whoever stands at 0 takes the rest.
    pub payer: usize,
    /// Place of the line.
    pub line: usize,
    /// How much of it.
    pub portion: Portion,
}

/// What a payer is billed of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct PartLine {
    /// Place of the line in the sale.
    pub line: usize,
    /// The part; its quantity is the line's where it is all of it, else one.
    pub amounts: LineAmounts,
    /// Of the discount granted on the line alone.
    pub own_discount: Cents,
    /// Of the price and discount with tax.
    pub shown: Option<Shown>,
    /// Whether nobody else pays for any of it.
    pub whole: bool,
}

/// What one payer is billed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct PayerPart {
    /// In the order of the sale.
    pub lines: Vec<PartLine>,
    /// One for each level of the sale, in order.
    pub levels: Vec<LevelPart>,
}

/// Why a sale cannot be divided so. `at` is the place in what was asked for.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DivisionRefusal {
    /// There is no such line.
    #[error("the sale has no such line")]
    NoSuchLine { at: usize },
    /// A payer takes of one line twice.
    #[error("this payer takes of the line already; add the two")]
    TakenTwice { at: usize },
    /// A portion of nothing, or an amount of the other sign than its line.
    #[error("a portion must be above zero, and an amount must have the sign of its line")]
    NotAPortion { at: usize },
    /// More than is there.
    #[error("{left} is left of this line")]
    TooMuch { at: usize, left: Cents },
    /// A payer with nothing to pay.
    #[error("nothing falls to payer {payer}")]
    NothingFor { payer: usize },
    /// A payer with nothing but reductions.
    #[error("what falls to payer {payer} is below zero")]
    BelowZero { payer: usize },
    /// A sum does not fit.
    #[error(transparent)]
    Money(#[from] MoneyRefusal),
}

impl From<SpreadRefusal> for DivisionRefusal {
    fn from(_: SpreadRefusal) -> Self {
        Self::Money(MoneyRefusal::TooLarge)
    }
}

/// Divides a sale over `payers` of any kind; the first of them takes what nobody else does.
///
/// Of each line the price after discount is divided as asked, percentages by largest remainder with the rest as one more
/// share; its other figures follow in that proportion, by largest remainder too. Tax by level: payers one after another
/// take the difference between two ends of one running division of the levels' tax, so that rows and columns both add up.
///
/// # Errors
/// See [`DivisionRefusal`].
/// # Source
/// Largest remainder: common practice for splitting an amount, no statute. The sum of the parts is one sale (SSUTA
/// section 324 rounds tax once, on the sale): worked/division.json.
pub fn divide(
    lines: &[SaleLine],
    levels: &[SaleLevel],
    (payers, takings): (usize, &[Taking]),
) -> Result<Vec<PayerPart>, DivisionRefusal> {
    for (at, taking) in takings.iter().enumerate() {
        if taking.line >= lines.len() {
            return Err(DivisionRefusal::NoSuchLine { at });
        }
        let same = |earlier: &Taking| (earlier.payer, earlier.line) == (taking.payer, taking.line);
        if takings.iter().take(at).any(same) {
            return Err(DivisionRefusal::TakenTwice { at });
        }
    }
    let mut parts = vec![PayerPart::default(); payers];
    let mut for_nothing = Vec::new();
    for (place, line) in lines.iter().enumerate() {
        let weights = weights(line, place, (payers, takings))?;
        if is_nothing(line) {
            for_nothing.push((line, place, weights));
            continue;
        }
        for (part, of_line) in parts.iter_mut().zip(cut(line, place, &weights)?) {
            part.lines.extend(of_line);
        }
    }
    for (line, place, weights) in for_nothing {
        give(line, place, &weights, &mut parts)?;
    }
    for (payer, part) in parts.iter().enumerate() {
        if payer > 0 && part.lines.is_empty() {
            return Err(DivisionRefusal::NothingFor { payer });
        }
        if part.total()?.is_negative() {
            return Err(DivisionRefusal::BelowZero { payer });
        }
    }
    divide_levels(lines, levels, &mut parts)?;
    Ok(parts)
}

impl PayerPart {
    /// Prices after discount, with tax.
    ///
    /// # Errors
    /// `MoneyRefusal::TooLarge` for a sum that does not fit.
    pub fn total(&self) -> Result<Cents, MoneyRefusal> {
        let mut sum = Cents::ZERO;
        for line in &self.lines {
            sum = charge(&line.amounts)?
                .checked_add(line.amounts.tax)
                .and_then(|whole| sum.checked_add(whole))
                .ok_or(MoneyRefusal::TooLarge)?;
        }
        Ok(sum)
    }
}

fn charge(amounts: &LineAmounts) -> Result<Cents, MoneyRefusal> {
    minus(amounts.net, amounts.discount)
}

fn minus(a: Cents, b: Cents) -> Result<Cents, MoneyRefusal> {
    a.checked_sub(b).ok_or(MoneyRefusal::TooLarge)
}

/// By payer, in what proportion a line is divided: of a line with a price, the parts of that price in cents.
fn weights(
    line: &SaleLine,
    place: usize,
    (payers, takings): (usize, &[Taking]),
) -> Result<Vec<i128>, DivisionRefusal> {
    let price = charge(&line.amounts)?;
    let of_line = || {
        let takings = takings.iter().enumerate();
        takings.filter(|(_, taking)| taking.line == place)
    };
    let mut percents = vec![Decimal::ZERO; payers];
    let mut fixed = vec![Cents::ZERO; payers];
    let mut left = price;
    for (at, taking) in of_line() {
        match taking.portion {
            Portion::Whole => set(&mut percents, taking.payer, Decimal::ONE_HUNDRED),
            Portion::Percent(percent) if percent.per_hundred() <= Decimal::ZERO => {
                return Err(DivisionRefusal::NotAPortion { at });
            }
            Portion::Percent(percent) => set(&mut percents, taking.payer, percent.per_hundred()),
            Portion::Amount(amount) => {
                if amount.0.signum() != price.0.signum() || amount == Cents::ZERO {
                    return Err(DivisionRefusal::NotAPortion { at });
                }
                if i128::from(amount.0).abs() > i128::from(left.0).abs() {
                    return Err(DivisionRefusal::TooMuch { at, left });
                }
                left = minus(left, amount)?;
                set(&mut fixed, taking.payer, amount);
            }
        }
    }
    let last = of_line().next_back().map_or(0, |(at, _)| at);
    percents.push(Decimal::ONE_HUNDRED);
    let mut shares = whole_weights(&percents).ok_or(MoneyRefusal::TooLarge)?;
    let hundred = shares.pop().ok_or(MoneyRefusal::TooLarge)?;
    // Without a price the other figures go by the percentages alone.
    let (whole, unit) = if price == Cents::ZERO {
        (hundred, 1)
    } else {
        (
            i128::from(left.0).saturating_mul(hundred),
            i128::from(price.0),
        )
    };
    let numerators = shares.into_iter().map(|share| share.checked_mul(unit));
    let numerators: Option<Vec<i128>> = numerators.collect();
    let mut numerators = numerators.ok_or(MoneyRefusal::TooLarge)?;
    let rest = numerators
        .iter()
        .try_fold(whole, |rest, numerator| rest.checked_sub(*numerator))
        .ok_or(MoneyRefusal::TooLarge)?;
    if rest != 0 && rest.signum() != unit.signum() {
        let own = takings.get(last).and_then(|of| numerators.get(of.payer));
        let before = rest.saturating_add(own.copied().unwrap_or_default());
        let left = left_of(before, (price, hundred))?;
        return Err(DivisionRefusal::TooMuch { at: last, left });
    }
    if let Some(first) = numerators.first_mut() {
        *first = rest;
    }
    if price == Cents::ZERO {
        return Ok(numerators);
    }
    let shares = largest_remainder(left, &numerators, hundred).ok_or(MoneyRefusal::TooLarge)?;
    let parts = shares.iter().zip(&fixed);
    Ok(parts
        .map(|(share, fixed)| i128::from(share.0) + i128::from(fixed.0))
        .collect())
}

/// What is left of a price before the last who takes of it, in hundredths: nothing where it is taken already.
fn left_of(before: i128, (price, hundred): (Cents, i128)) -> Result<Cents, MoneyRefusal> {
    if before.signum() != i128::from(price.0).signum() {
        return Ok(Cents::ZERO);
    }
    let cents = before.checked_div(hundred).unwrap_or_default();
    i64::try_from(cents)
        .map(Cents)
        .map_err(|_| MoneyRefusal::TooLarge)
}

fn set<T>(values: &mut [T], at: usize, value: T) {
    if let Some(slot) = values.get_mut(at) {
        *slot = value;
    }
}

/// Whether a line has no figures, such as a trip that another call pays for.
fn is_nothing(line: &SaleLine) -> bool {
    let LineAmounts {
        net,
        discount,
        taxable,
        tax,
        cost,
        ..
    } = line.amounts;
    [net, discount, taxable, tax, cost]
        .iter()
        .all(|amount| *amount == Cents::ZERO)
}

/// Gives a line without figures to whoever takes most of it, the first of several. It alone makes nobody a bill: what is
/// left over for a payer without anything else goes to whoever pays most.
fn give(
    line: &SaleLine,
    place: usize,
    weights: &[i128],
    parts: &mut [PayerPart],
) -> Result<(), DivisionRefusal> {
    let mut taker = first_of_most(weights);
    if taker == 0 && parts.first().is_some_and(|part| part.lines.is_empty()) {
        let totals: Vec<Cents> = parts
            .iter()
            .map(PayerPart::total)
            .collect::<Result<_, _>>()?;
        taker = first_of_most(&totals);
    }
    if let Some(part) = parts.get_mut(taker) {
        part.lines.push(PartLine {
            line: place,
            amounts: line.amounts,
            own_discount: line.own_discount,
            shown: line.shown,
            whole: true,
        });
        part.lines.sort_by_key(|line| line.line);
    }
    Ok(())
}

fn first_of_most<T: Ord>(values: &[T]) -> usize {
    let numbered = values.iter().enumerate().rev();
    numbered
        .max_by_key(|(_, value)| *value)
        .map_or(0, |(at, _)| at)
}

/// Cuts a line up in this proportion; none for a payer to whom nothing of it falls.
fn cut(
    line: &SaleLine,
    place: usize,
    weights: &[i128],
) -> Result<Vec<Option<PartLine>>, DivisionRefusal> {
    let whole = &line.amounts;
    let price = charge(whole)?;
    let spread = |amount: Cents| spread_whole(amount, weights);
    let prices = spread(price)?;
    let nets = spread(whole.net)?;
    let (taxables, taxes) = (spread(whole.taxable)?, spread(whole.tax)?);
    let (costs, own) = (spread(whole.cost)?, spread(line.own_discount)?);
    let shown_nets = match line.shown {
        Some(shown) => spread(shown.net)?.into_iter().map(Some).collect(),
        None => vec![None; weights.len()],
    };
    let takers = weights.iter().filter(|weight| **weight != 0).count();
    let figures = prices.into_iter().zip(nets).zip(taxables).zip(taxes);
    let figures = figures.zip(costs).zip(own).zip(shown_nets).zip(weights);
    let mut parts = Vec::with_capacity(weights.len());
    for (((((((price, net), taxable), tax), cost), own_discount), shown_net), weight) in figures {
        let pays = price.checked_add(tax).ok_or(MoneyRefusal::TooLarge)?;
        let shown = match shown_net {
            Some(net) => Some(Shown {
                net,
                discount: minus(net, pays)?,
            }),
            None => None,
        };
        let amounts = LineAmounts {
            quantity: if takers == 1 {
                whole.quantity
            } else {
                Decimal::ONE
            },
            net,
            discount: minus(net, price)?,
            taxable,
            tax,
            cost,
        };
        let figures = [net, amounts.discount, taxable, tax, cost];
        let falls_to = figures.iter().any(|amount| *amount != Cents::ZERO);
        let is_taken = *weight != 0 && falls_to;
        parts.push(is_taken.then_some(PartLine {
            line: place,
            amounts,
            own_discount,
            shown,
            whole: takers == 1,
        }));
    }
    Ok(parts)
}

#[cfg(test)]
mod tests;
