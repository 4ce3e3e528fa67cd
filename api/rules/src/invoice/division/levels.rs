//! The tax of each level of a sale divided over its payers.

use rust_decimal::Decimal;

use super::{DivisionRefusal, PayerPart, SaleLevel, SaleLine};
use crate::invoice::credit::{CreditLevel, CreditLine, LevelPart, LineAmounts, groups, share_out};
use crate::money::{Cents, MoneyRefusal, spread, spread_by_cents};

/// Divides each level over the payers, by groups of lines that the same levels tax.
pub(super) fn divide_levels(
    lines: &[SaleLine],
    levels: &[SaleLevel],
    parts: &mut [PayerPart],
) -> Result<(), DivisionRefusal> {
    let billed = |line: &SaleLine| CreditLine {
        kind: line.kind,
        billed: line.amounts,
        credited: LineAmounts::default(),
    };
    let billed: Vec<CreditLine> = lines.iter().map(billed).collect();
    let of_level = |level: &SaleLevel| CreditLevel {
        rate: level.rate,
        exempts: level.exempts.clone(),
        tax: level.tax,
    };
    let credited: Vec<CreditLevel> = levels.iter().map(of_level).collect();
    for part in parts.iter_mut() {
        part.levels = vec![LevelPart::default(); levels.len()];
    }
    let groups = groups(&billed, &credited).map_err(|_| MoneyRefusal::TooLarge)?;
    for group in groups {
        let rates = group.levels.iter().filter_map(|at| levels.get(*at));
        let rates: Vec<Decimal> = rates.map(|level| level.rate.per_hundred()).collect();
        let mut running = Cents::ZERO;
        let mut before = vec![Cents::ZERO; group.levels.len()];
        for part in parts.iter_mut() {
            let own = part
                .lines
                .iter()
                .filter(|line| group.lines.contains(&line.line));
            let tax = Cents::sum(own.clone().map(|line| line.amounts.tax))?;
            let taxable = Cents::sum(own.map(|line| line.amounts.taxable))?;
            running = running.checked_add(tax).ok_or(MoneyRefusal::TooLarge)?;
            let after = divided_through(running, &group.shares, &rates)?;
            for (at, (after, before)) in group.levels.iter().zip(after.iter().zip(&before)) {
                let Some(level) = part.levels.get_mut(*at) else {
                    continue;
                };
                let more = after.checked_sub(*before);
                level.tax = more
                    .and_then(|more| level.tax.checked_add(more))
                    .ok_or(MoneyRefusal::TooLarge)?;
                level.taxable = level
                    .taxable
                    .checked_add(taxable)
                    .ok_or(MoneyRefusal::TooLarge)?;
            }
            before = after;
        }
    }
    for (at, level) in levels.iter().enumerate() {
        divide_taxable(at, level, parts)?;
    }
    Ok(())
}

/// What is charged on, where a level taxes less than its lines say, such as above a limit.
fn divide_taxable(
    at: usize,
    level: &SaleLevel,
    parts: &mut [PayerPart],
) -> Result<(), DivisionRefusal> {
    let of = |part: &PayerPart| part.levels.get(at).copied().unwrap_or_default();
    let by_lines: Vec<Cents> = parts.iter().map(|part| of(part).taxable).collect();
    if Cents::sum(by_lines.iter().copied())? == level.taxable {
        return Ok(());
    }
    let by_tax: Vec<Cents> = parts.iter().map(|part| of(part).tax).collect();
    let shares = spread_by_cents(level.taxable, &by_lines)
        .or_else(|_| spread_by_cents(level.taxable, &by_tax))?;
    for (part, share) in parts.iter_mut().zip(shares) {
        if let Some(own) = part.levels.get_mut(at) {
            own.taxable = share;
        }
    }
    Ok(())
}

/// A running sum of tax divided over levels: nothing gives nothing, the whole gives the shares, and what lies beyond the
/// whole or below nothing, as reductions make it, goes on in the same way.
fn divided_through(
    running: Cents,
    shares: &[Cents],
    rates: &[Decimal],
) -> Result<Vec<Cents>, DivisionRefusal> {
    let whole = Cents::sum(shares.iter().copied())?;
    if running == whole {
        return Ok(shares.to_vec());
    }
    if running == Cents::ZERO {
        return Ok(vec![Cents::ZERO; shares.len()]);
    }
    if whole == Cents::ZERO {
        return Ok(spread(running, rates)?);
    }
    let sign = whole.0.signum();
    let turned = |amount: Cents| amount.0.checked_mul(sign).ok_or(MoneyRefusal::TooLarge);
    let (running, whole) = (turned(running)?, turned(whole)?);
    let upright: Vec<Cents> = shares
        .iter()
        .map(|share| turned(*share).map(Cents))
        .collect::<Result<_, _>>()?;
    let times = running.div_euclid(whole);
    let Ok(rest) = share_out(Cents(running.rem_euclid(whole)), &upright) else {
        let running = running.checked_mul(sign).ok_or(MoneyRefusal::TooLarge)?;
        return Ok(spread_by_cents(Cents(running), shares)?);
    };
    let parts = upright.iter().zip(rest).map(|(share, rest)| {
        let whole = share.0.checked_mul(times)?;
        whole.checked_add(rest.0)?.checked_mul(sign).map(Cents)
    });
    let parts: Option<Vec<Cents>> = parts.collect();
    Ok(parts.ok_or(MoneyRefusal::TooLarge)?)
}
