//! Credit notes in part: so many of a line, an amount off its price, or all that is left of it.
//!
//! Nothing is taxed again: a part of a line gives back that part of the line's own tax. What is given back so far is
//! always a function of the sum credited so far, so the order of credits does not matter and the last one gives back
//! exactly what is left. What must stay true: by line and by tax level, credits never exceed what was billed.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal, ratio_half_up, spread_by_cents, whole_weights};
use crate::percent::Percent;
use crate::tax::ChargeKind;

pub(super) use levels::groups;
use levels::level_parts;

mod levels;

/// The figures of a line, or of a part of one.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineAmounts {
    /// How many; zero for a lower price.
    pub quantity: Decimal,
    /// Before discount and tax.
    pub net: Cents,
    /// Discounts on it.
    pub discount: Cents,
    /// How much of it is taxed.
    pub taxable: Cents,
    /// Its tax.
    pub tax: Cents,
    /// What the shop paid for it.
    pub cost: Cents,
}

/// A line of an invoice, and what credit notes gave back of it so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct CreditLine {
    /// What it charges for; levels may leave a kind alone.
    pub kind: ChargeKind,
    /// As it was billed.
    pub billed: LineAmounts,
    /// Given back so far.
    #[serde(default)]
    pub credited: LineAmounts,
}

/// A tax level of an invoice.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CreditLevel {
    /// Its rate, by which lines share their tax among the levels.
    pub rate: Percent,
    /// Kinds of charge it leaves alone.
    #[serde(default)]
    pub exempts: Vec<ChargeKind>,
    /// Its tax on the invoice.
    pub tax: Cents,
}

/// What is to be given back of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Wanted {
    /// So many.
    Quantity(Decimal),
    /// So much off its price, before tax.
    Amount(Cents),
    /// All that is left.
    Rest,
}

/// What a level gives back.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LevelPart {
    /// Of what it was charged on.
    pub taxable: Cents,
    /// Of its tax.
    pub tax: Cents,
}

/// A credit before it has a number. Amounts are those printed, not negative.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PartCredit {
    /// Place of each line and what of it is given back.
    pub lines: Vec<(usize, LineAmounts)>,
    /// One for each level, in order.
    pub levels: Vec<LevelPart>,
    /// Whether nothing of the invoice is left after it.
    pub leaves_nothing: bool,
}

/// Why a credit cannot be drawn up. `at` is the place in what was wanted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CreditRefusal {
    /// Nothing is wanted.
    #[error("a credit note needs at least one line")]
    NoLines,
    /// There is no such line.
    #[error("the invoice has no such line")]
    NoSuchLine { at: usize },
    /// One line named twice.
    #[error("the line is named twice")]
    NamedTwice { at: usize },
    /// A quantity or an amount at or below zero.
    #[error("what is given back must be above zero")]
    NotAboveZero { at: usize },
    /// More than was billed and is left.
    #[error("{left} are left of this line")]
    TooMany { at: usize, left: Decimal },
    /// More off the price than is left of it.
    #[error("{left} is left of this line's price")]
    TooMuch { at: usize, left: Cents },
    /// Lines of the other sign, such as a charge credited to the repair, have to go with it.
    #[error("this would give back more than the invoice asked for; credit its reductions with it")]
    BeyondBilled,
    /// A sum does not fit.
    #[error(transparent)]
    Money(#[from] MoneyRefusal),
}

/// Works out what is given back of the lines that are named.
///
/// A quantity takes its share of what is left of the line, rounded half up once; the last of it takes the rest. Tax of a
/// line is given back in proportion to its price after discount; levels share it as they shared the line's tax, by the
/// method of greatest divisors (odd numbers), which never takes a cent back that it gave before.
///
/// # Errors
/// See [`CreditRefusal`].
/// # Source
/// The mirror: CEN EN 16931 examples `BIS3_Invoice_positive.XML` and `BIS3_Invoice_negativ.XML`. Proportion by line:
/// arithmetic, no statute; worked/partial-credits.json.
pub fn credit_part(
    lines: &[CreditLine],
    levels: &[CreditLevel],
    wanted: &[(usize, Wanted)],
) -> Result<PartCredit, CreditRefusal> {
    if wanted.is_empty() {
        return Err(CreditRefusal::NoLines);
    }
    let mut parts = Vec::with_capacity(wanted.len());
    for (at, (place, how)) in wanted.iter().enumerate() {
        let line = lines.get(*place).ok_or(CreditRefusal::NoSuchLine { at })?;
        if wanted.iter().take(at).any(|(earlier, _)| earlier == place) {
            return Err(CreditRefusal::NamedTwice { at });
        }
        parts.push((*place, line.part(at, *how)?));
    }
    let mut after = lines.to_vec();
    for (place, part) in &parts {
        if let Some(line) = after.get_mut(*place) {
            line.credited = line.credited.plus(part)?;
        }
    }
    let given = total(parts.iter().map(|(_, part)| part))?;
    let left = total(lines.iter().map(|line| &line.billed))?
        .checked_sub(total(lines.iter().map(|line| &line.credited))?)
        .ok_or(MoneyRefusal::TooLarge)?;
    if given.is_negative() || given > left {
        return Err(CreditRefusal::BeyondBilled);
    }
    let levels = level_parts(lines, &after, levels)?;
    let mut leaves_nothing = true;
    for line in &after {
        let rest = line.left()?;
        leaves_nothing &= rest.charge()? == Cents::ZERO && rest.tax == Cents::ZERO;
    }
    Ok(PartCredit {
        lines: parts,
        levels,
        leaves_nothing,
    })
}

impl LineAmounts {
    /// Net less discount.
    fn charge(&self) -> Result<Cents, MoneyRefusal> {
        self.net
            .checked_sub(self.discount)
            .ok_or(MoneyRefusal::TooLarge)
    }

    /// Whether neither anything of it nor any money is there.
    fn is_nothing(&self) -> Result<bool, MoneyRefusal> {
        Ok(self.quantity.is_zero() && self.charge()? == Cents::ZERO && self.tax == Cents::ZERO)
    }

    fn plus(&self, other: &Self) -> Result<Self, MoneyRefusal> {
        self.combined(other, Cents::checked_add, Decimal::checked_add)
    }

    fn minus(&self, other: &Self) -> Result<Self, MoneyRefusal> {
        self.combined(other, Cents::checked_sub, Decimal::checked_sub)
    }

    fn combined(
        &self,
        other: &Self,
        cents: fn(Cents, Cents) -> Option<Cents>,
        count: fn(Decimal, Decimal) -> Option<Decimal>,
    ) -> Result<Self, MoneyRefusal> {
        let both = |a, b| cents(a, b).ok_or(MoneyRefusal::TooLarge);
        Ok(Self {
            quantity: count(self.quantity, other.quantity).ok_or(MoneyRefusal::TooLarge)?,
            net: both(self.net, other.net)?,
            discount: both(self.discount, other.discount)?,
            taxable: both(self.taxable, other.taxable)?,
            tax: both(self.tax, other.tax)?,
            cost: both(self.cost, other.cost)?,
        })
    }
}

fn total<'a>(lines: impl Iterator<Item = &'a LineAmounts>) -> Result<Cents, MoneyRefusal> {
    let mut sum = Cents::ZERO;
    for line in lines {
        sum = line
            .charge()?
            .checked_add(line.tax)
            .and_then(|whole| sum.checked_add(whole))
            .ok_or(MoneyRefusal::TooLarge)?;
    }
    Ok(sum)
}

impl CreditLine {
    /// Whether something of it can still be given back.
    ///
    /// # Errors
    /// `MoneyRefusal::TooLarge` for a difference that does not fit.
    pub fn is_left(&self) -> Result<bool, MoneyRefusal> {
        Ok(!self.left()?.is_nothing()?)
    }

    fn left(&self) -> Result<LineAmounts, MoneyRefusal> {
        self.billed.minus(&self.credited)
    }

    fn part(&self, at: usize, how: Wanted) -> Result<LineAmounts, CreditRefusal> {
        let left = self.left()?;
        let (quantity, net, discount, cost) = match how {
            Wanted::Rest if left.is_nothing()? => {
                let left = Decimal::ZERO;
                return Err(CreditRefusal::TooMany { at, left });
            }
            Wanted::Rest => return Ok(left),
            Wanted::Quantity(quantity) => {
                if quantity <= Decimal::ZERO {
                    return Err(CreditRefusal::NotAboveZero { at });
                }
                if quantity > left.quantity {
                    let left = left.quantity;
                    return Err(CreditRefusal::TooMany { at, left });
                }
                if quantity == left.quantity {
                    return Ok(left);
                }
                let share = |amount| share(amount, quantity, left.quantity);
                (
                    quantity,
                    share(left.net)?,
                    share(left.discount)?,
                    share(left.cost)?,
                )
            }
            Wanted::Amount(amount) => {
                if amount <= Cents::ZERO {
                    return Err(CreditRefusal::NotAboveZero { at });
                }
                if amount > left.charge()? {
                    let left = left.charge()?;
                    return Err(CreditRefusal::TooMuch { at, left });
                }
                (Decimal::ZERO, amount, Cents::ZERO, Cents::ZERO)
            }
        };
        let mut part = LineAmounts {
            quantity,
            net,
            discount,
            cost,
            ..LineAmounts::default()
        };
        let so_far = self
            .credited
            .charge()?
            .checked_add(part.charge()?)
            .ok_or(MoneyRefusal::TooLarge)?;
        let whole = self.billed.charge()?;
        let of = |billed: Cents, credited: Cents| -> Result<Cents, MoneyRefusal> {
            proportion(billed, so_far, whole)?
                .checked_sub(credited)
                .ok_or(MoneyRefusal::TooLarge)
        };
        part.taxable = of(self.billed.taxable, self.credited.taxable)?;
        part.tax = of(self.billed.tax, self.credited.tax)?;
        Ok(part)
    }
}

/// So many of so many, of an amount, half up once.
fn share(amount: Cents, some: Decimal, of: Decimal) -> Result<Cents, MoneyRefusal> {
    let whole = whole_weights(&[some, of]).ok_or(MoneyRefusal::TooLarge)?;
    let [some, of] = whole.as_slice() else {
        return Err(MoneyRefusal::TooLarge);
    };
    let numerator = i128::from(amount.0)
        .checked_mul(*some)
        .ok_or(MoneyRefusal::TooLarge)?;
    ratio_half_up(numerator, *of)
}

/// An amount in the proportion of two others of the same sign; all of nothing is nothing.
fn proportion(amount: Cents, part: Cents, whole: Cents) -> Result<Cents, MoneyRefusal> {
    if whole == Cents::ZERO {
        return Ok(Cents::ZERO);
    }
    let sign = i128::from(whole.0.signum());
    let numerator = i128::from(amount.0)
        .checked_mul(i128::from(part.0))
        .and_then(|product| product.checked_mul(sign))
        .ok_or(MoneyRefusal::TooLarge)?;
    ratio_half_up(numerator, i128::from(whole.0) * sign)
}

/// Divides a part of a sum over the shares it is made of: nothing gives nothing, the whole gives the shares, and a
/// larger part never gives a share less.
///
/// # Errors
/// `BeyondBilled` for a part that is not within the sum, or shares of both signs.
/// # Source
/// Divisor method with odd numbers: *Annales scientifiques de l'École normale supérieure* 27 (1910), pp. 529-542.
pub fn share_out(part: Cents, shares: &[Cents]) -> Result<Vec<Cents>, CreditRefusal> {
    let whole = Cents::sum(shares.iter().copied())?;
    if part == Cents::ZERO {
        return Ok(vec![Cents::ZERO; shares.len()]);
    }
    if part == whole {
        return Ok(shares.to_vec());
    }
    if part.is_negative() || part > whole || shares.iter().any(|share| share.is_negative()) {
        return Err(CreditRefusal::BeyondBilled);
    }
    let mut given = Vec::with_capacity(shares.len());
    for share in shares {
        given.push(proportion(*share, part, whole)?);
    }
    let mut sum = Cents::sum(given.iter().copied())?;
    while sum != part {
        let step = if sum < part { 1 } else { -1 };
        let at = next_to_move(&given, shares, step).ok_or(MoneyRefusal::TooLarge)?;
        if let Some(slot) = given.get_mut(at) {
            slot.0 += step;
        }
        sum.0 += step;
    }
    Ok(given)
}

/// The sales tax in what is written off, by level: the share of the tax left that the open amount is of the total left.
///
/// Shape: what is open, what is left of the invoice after credits, and the tax of each level left in that. The shares add
/// up to the open amount's tax, rounded half up once; all of the total open gives all of the tax.
///
/// # Errors
/// `BeyondBilled` for more open than is left; `Money`.
/// # Source
/// Streamlined Sales and Use Tax Agreement section 320: a bad debt is what was charged and not collected, and what was
/// collected goes to price and tax in proportion.
pub fn tax_relief(open: Cents, left: Cents, taxes: &[Cents]) -> Result<Vec<Cents>, CreditRefusal> {
    if open.is_negative() || open > left {
        return Err(CreditRefusal::BeyondBilled);
    }
    let tax = Cents::sum(taxes.iter().copied())?;
    share_out(proportion(tax, open, left)?, taxes)
}

/// What was written off of an invoice before: how much, and the tax of each level that it gave back.
#[derive(Clone, Copy, Debug)]
pub struct GivenUp<'a> {
    pub amount: Cents,
    pub taxes: &'a [Cents],
}

/// The sales tax in a further part that is written off: that of all parts together less what the earlier ones gave back,
/// so that parts never give back more than the whole would.
///
/// Shape: the part, what was given up before, and what is left of the invoice after credits with its tax by level.
///
/// # Errors
/// `BeyondBilled` for more than is left; `Money`.
/// # Source
/// As [`tax_relief`].
/// # Example
/// ```
/// use nameplate_rules::{invoice::credit::{GivenUp, further_relief}, money::Cents};
/// let whole = (Cents(108), &[Cents(5), Cents(3)][..]);
/// let first = further_relief(Cents(54), GivenUp { amount: Cents(0), taxes: &[Cents(0), Cents(0)] }, whole)?;
/// let second = further_relief(Cents(54), GivenUp { amount: Cents(54), taxes: &first }, whole)?;
/// assert_eq!((first, second), (vec![Cents(3), Cents(1)], vec![Cents(2), Cents(2)]));
/// # Ok::<(), nameplate_rules::invoice::credit::CreditRefusal>(())
/// ```
pub fn further_relief(
    part: Cents,
    before: GivenUp<'_>,
    (left, taxes): (Cents, &[Cents]),
) -> Result<Vec<Cents>, CreditRefusal> {
    let all = Cents::sum([before.amount, part])?;
    let relief = tax_relief(all, left, taxes)?;
    let given = before
        .taxes
        .iter()
        .copied()
        .chain(std::iter::repeat(Cents::ZERO));
    let further = relief.into_iter().zip(given).map(|(all, given)| {
        let rest = all.checked_sub(given).ok_or(MoneyRefusal::TooLarge)?;
        Ok(rest.max(Cents::ZERO))
    });
    further.collect()
}

/// What of a write-off is undone when so much of it comes in: the part of what the shop bore, and of the tax of each
/// level, in exact proportion to what is left of each and rounded by the largest remainder. All that is left gives each
/// part in whole.
///
/// # Errors
/// `BeyondBilled` for more than is left; `Money`.
/// # Source
/// Streamlined Sales and Use Tax Agreement section 320: what is collected on a bad debt later is taxed again, in
/// proportion to price and tax.
/// # Example
/// ```
/// use nameplate_rules::{invoice::credit::write_off_undone, money::Cents};
/// let (bad_debt, taxes) = write_off_undone(Cents(5_000), (Cents(14_450), &[Cents(313), Cents(87)]))?;
/// assert_eq!((bad_debt, taxes), (Cents(4_865), vec![Cents(106), Cents(29)]));
/// # Ok::<(), nameplate_rules::invoice::credit::CreditRefusal>(())
/// ```
pub fn write_off_undone(
    comes_in: Cents,
    (bad_debt, taxes): (Cents, &[Cents]),
) -> Result<(Cents, Vec<Cents>), CreditRefusal> {
    let mut parts = vec![bad_debt];
    parts.extend_from_slice(taxes);
    if comes_in.is_negative() || comes_in > Cents::sum(parts.iter().copied())? {
        return Err(CreditRefusal::BeyondBilled);
    }
    let mut shares = spread_by_cents(comes_in, &parts)
        .map_err(|_| MoneyRefusal::TooLarge)?
        .into_iter();
    let bad_debt = shares.next().unwrap_or(Cents::ZERO);
    Ok((bad_debt, shares.collect()))
}

/// Which share takes the next cent, or gives back the last: the one whose odd number over its weight is least, or most.
fn next_to_move(given: &[Cents], shares: &[Cents], step: i64) -> Option<usize> {
    let mut best: Option<(usize, i128, i128)> = None;
    for (at, (given, share)) in given.iter().zip(shares).enumerate() {
        let odd = i128::from(given.0) * 2 + i128::from(step);
        let weight = i128::from(share.0);
        if weight == 0 || odd < 0 {
            continue;
        }
        let better = best.is_none_or(|(_, best_odd, best_weight)| {
            let (ours, theirs) = (odd * best_weight, best_odd * weight);
            // Among equals the earlier takes first, and so the later gives back first.
            if step > 0 {
                ours < theirs
            } else {
                ours >= theirs
            }
        });
        if better {
            best = Some((at, odd, weight));
        }
    }
    best.map(|(at, _, _)| at)
}

#[cfg(test)]
mod tests;
