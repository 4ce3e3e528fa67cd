//! Second step: from taxable amounts to whole cents of tax, by line and by level.
//!
//! Lines that the same authorities tax make one group; a group is rounded for itself, so that each
//! authority's return can be checked. With a price that holds the tax, the tax is worked out backwards.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use crate::money::{
    Cents, MoneyRefusal, largest_remainder, ratio_half_up, spread, spread_by_cents,
};
use crate::percent::Percent;

use super::place::{Basis, Jurisdiction, Level, Method, Prices};
use super::rounding::section_324;
use super::{LevelTax, Sale, TaxLine, TaxRefusal};

/// Tax by line, what each line was taxed on, and tax by level.
pub(super) struct Computed {
    pub(super) taxes: Vec<Cents>,
    pub(super) taxable: Vec<Cents>,
    pub(super) levels: Vec<LevelTax>,
}

/// Taxes what was decided: one amount for each line.
pub(super) fn compute(
    lines: &[TaxLine],
    decided: &[Cents],
    place: &Jurisdiction,
    sale: &Sale,
) -> Result<Computed, TaxRefusal> {
    let levels = place.levels_on(sale.on);
    let mut groups: BTreeMap<Vec<usize>, Vec<usize>> = BTreeMap::new();
    for (at, line) in lines.iter().enumerate() {
        let taxing = levels
            .iter()
            .enumerate()
            .filter(|(_, (_, level))| !level.exempts.contains(&line.kind))
            .map(|(place, _)| place)
            .collect();
        groups.entry(taxing).or_default().push(at);
    }
    let mut computed = Computed {
        taxes: vec![Cents::ZERO; decided.len()],
        taxable: decided.to_vec(),
        levels: levels
            .iter()
            .map(|(at, level)| untaxed(*at, level))
            .collect(),
    };
    let way = Way {
        method: place.method_on(sale.on),
        prices: place.prices,
        basis: place.basis,
    };
    for (taxing, members) in groups {
        if !taxing.is_empty() {
            computed.add(&way, &taxing, &members)?;
        }
    }
    Ok(computed)
}

fn untaxed(at: usize, level: &Level) -> LevelTax {
    LevelTax {
        at,
        name: level.name.clone(),
        kind: level.kind,
        rate: level.rate,
        taxable_cents: Cents::ZERO,
        tax_cents: Cents::ZERO,
    }
}

impl Computed {
    /// Taxes one group: these levels on these lines.
    fn add(&mut self, way: &Way<'_>, taxing: &[usize], lines: &[usize]) -> Result<(), TaxRefusal> {
        let of = |all: &[Cents]| -> Vec<Cents> {
            lines
                .iter()
                .filter_map(|at| all.get(*at).copied())
                .collect()
        };
        let amounts = of(&self.taxable);
        let rates = taxing
            .iter()
            .filter_map(|at| self.levels.get(*at).map(|level| level.rate))
            .collect::<Vec<_>>();
        let rate = Percent::sum(rates.iter().copied())?;
        let taxes = way.by_line(&amounts, rate)?;
        let total = Cents::sum(taxes.iter().copied())?;
        for (at, tax) in lines.iter().zip(&taxes) {
            if let Some(slot) = self.taxes.get_mut(*at) {
                *slot = *tax;
            }
            if let Some(slot) = self.taxable.get_mut(*at).filter(|_| way.is_inside()) {
                *slot = slot.checked_sub(*tax).ok_or(MoneyRefusal::TooLarge)?;
            }
        }
        let base = Cents::sum(of(&self.taxable))?;
        let weights = rates
            .iter()
            .map(|rate| rate.per_hundred())
            .collect::<Vec<Decimal>>();
        for (at, part) in taxing.iter().zip(spread(total, &weights)?) {
            if let Some(level) = self.levels.get_mut(*at) {
                let too_large = || MoneyRefusal::TooLarge;
                level.tax_cents = level.tax_cents.checked_add(part).ok_or_else(too_large)?;
                level.taxable_cents = level
                    .taxable_cents
                    .checked_add(base)
                    .ok_or_else(too_large)?;
            }
        }
        Ok(())
    }
}

/// How amounts become tax.
struct Way<'a> {
    method: &'a Method,
    prices: Prices,
    basis: Basis,
}

impl Way<'_> {
    fn is_inside(&self) -> bool {
        self.prices == Prices::WithTax
    }

    /// Tax of each line by method and basis.
    fn by_line(&self, amounts: &[Cents], rate: Percent) -> Result<Vec<Cents>, TaxRefusal> {
        match self.basis {
            Basis::Item => amounts
                .iter()
                .map(|amount| Ok(self.tax_on(*amount, rate)?))
                .collect(),
            Basis::Invoice => {
                let together = Cents::sum(amounts.iter().copied())?;
                cut_by_line(self.tax_on(together, rate)?, amounts, rate, self.prices)
            }
        }
    }

    /// Tax on one amount, whichever sign it has.
    fn tax_on(&self, amount: Cents, rate: Percent) -> Result<Cents, MoneyRefusal> {
        if rate == Percent::ZERO {
            return Ok(Cents::ZERO);
        }
        match (self.prices, self.method) {
            (Prices::WithTax, _) => contained(amount, rate),
            (Prices::BeforeTax, Method::Section324) => section_324(amount, rate),
            (Prices::BeforeTax, Method::Brackets(table)) => table.tax_on(amount),
        }
    }
}

/// The tax that a price holds: price times rate over a hundred and the rate, half away from zero once.
///
/// # Errors
/// `MoneyRefusal::TooLarge` if the exact product does not fit.
/// # Source
/// Arithmetic, no statute fixes the division; fixtures/worked/tax-inside.json.
pub fn contained(price: Cents, rate: Percent) -> Result<Cents, MoneyRefusal> {
    let (numerator, denominator) = exact(price, rate, Prices::WithTax)?;
    ratio_half_up(numerator, denominator)
}

/// Another price of a line that holds the tax, without it: `shown` of that line was `before_tax` without its tax.
///
/// The same share of the price is tax, as long as the line is taxed as it was. Rounding: half up, once; the price that
/// was shown gives what it was before tax. None when nothing was shown, so that there is no share to go by.
///
/// # Errors
/// `MoneyRefusal::TooLarge` if the result does not fit.
/// # Source
/// Arithmetic, no source.
pub fn without_tax(
    price: Cents,
    (shown, before_tax): (Cents, Cents),
) -> Result<Option<Cents>, MoneyRefusal> {
    if price == shown {
        return Ok(Some(before_tax));
    }
    if shown == Cents::ZERO {
        return Ok(None);
    }
    let numerator = i128::from(price.0)
        .checked_mul(i128::from(before_tax.0))
        .ok_or(MoneyRefusal::TooLarge)?;
    ratio_half_up(numerator, i128::from(shown.0)).map(Some)
}

/// The exact tax on, or in, an amount as a fraction of a cent.
fn exact(amount: Cents, rate: Percent, prices: Prices) -> Result<(i128, i128), MoneyRefusal> {
    let (numerator, hundred) = rate.exact_of(amount)?;
    let denominator = match prices {
        Prices::BeforeTax => Some(hundred),
        Prices::WithTax => hundred.checked_add(rate.per_hundred().mantissa()),
    };
    Ok((numerator, denominator.ok_or(MoneyRefusal::TooLarge)?))
}

/// Cuts the tax of a group by line, so that the lines add up to it.
///
/// With lines of one sign this is a plain spread. With both signs the weights may add up to almost
/// nothing and blow the shares up, so there each line keeps its exact tax, rounded to fit the total.
fn cut_by_line(
    total: Cents,
    amounts: &[Cents],
    rate: Percent,
    prices: Prices,
) -> Result<Vec<Cents>, TaxRefusal> {
    let mixed = amounts.iter().any(|amount| amount.is_negative())
        && amounts.iter().any(|amount| *amount > Cents::ZERO);
    if !mixed {
        return Ok(spread_by_cents(total, amounts)?);
    }
    let mut shares = Vec::with_capacity(amounts.len());
    let mut denominator = 1;
    for amount in amounts {
        let (numerator, over) = exact(*amount, rate, prices)?;
        shares.push(numerator);
        denominator = over;
    }
    largest_remainder(total, &shares, denominator).ok_or(TaxRefusal::Money(MoneyRefusal::TooLarge))
}
