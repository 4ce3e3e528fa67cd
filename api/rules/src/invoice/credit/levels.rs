//! How the lines of an invoice share the tax of its levels: by groups of lines that the same levels tax.

use rust_decimal::Decimal;

use crate::money::{Cents, MoneyRefusal, spread};

use super::{CreditLevel, CreditLine, CreditRefusal, LevelPart, LineAmounts, share_out};

/// Lines that the same levels tax, and how these share the lines' tax.
pub struct Group {
    pub levels: Vec<usize>,
    pub lines: Vec<usize>,
    pub shares: Vec<Cents>,
}

pub(super) fn level_parts(
    before: &[CreditLine],
    after: &[CreditLine],
    levels: &[CreditLevel],
) -> Result<Vec<LevelPart>, CreditRefusal> {
    let mut parts = vec![LevelPart::default(); levels.len()];
    for group in groups(before, levels)? {
        let sum = |lines: &[CreditLine], of: fn(&LineAmounts) -> Cents| {
            Cents::sum(
                group
                    .lines
                    .iter()
                    .filter_map(|at| lines.get(*at))
                    .map(|line| of(&line.credited)),
            )
        };
        let was = share_out(sum(before, |line| line.tax)?, &group.shares)?;
        let is = share_out(sum(after, |line| line.tax)?, &group.shares)?;
        let taxable = sum(after, |line| line.taxable)?
            .checked_sub(sum(before, |line| line.taxable)?)
            .ok_or(MoneyRefusal::TooLarge)?;
        for (level, (was, is)) in group.levels.iter().zip(was.into_iter().zip(is)) {
            let Some(part) = parts.get_mut(*level) else {
                continue;
            };
            part.taxable = part
                .taxable
                .checked_add(taxable)
                .ok_or(MoneyRefusal::TooLarge)?;
            part.tax = is
                .checked_sub(was)
                .and_then(|more| part.tax.checked_add(more))
                .ok_or(MoneyRefusal::TooLarge)?;
        }
    }
    Ok(parts)
}

/// The groups as the invoice was taxed. Where they do not add up to its levels, all lines share all levels.
pub fn groups(lines: &[CreditLine], levels: &[CreditLevel]) -> Result<Vec<Group>, CreditRefusal> {
    let mut groups: Vec<Group> = Vec::new();
    for (at, line) in lines.iter().enumerate() {
        let taxing: Vec<usize> = levels
            .iter()
            .enumerate()
            .filter(|(_, level)| !level.exempts.contains(&line.kind))
            .map(|(place, _)| place)
            .collect();
        match groups.iter_mut().find(|group| group.levels == taxing) {
            Some(group) => group.lines.push(at),
            None => groups.push(Group {
                levels: taxing,
                lines: vec![at],
                shares: Vec::new(),
            }),
        }
    }
    let mut sums = vec![Cents::ZERO; levels.len()];
    let mut adds_up = true;
    for group in &mut groups {
        let billed = group.lines.iter().filter_map(|at| lines.get(*at));
        let tax = Cents::sum(billed.map(|line| line.billed.tax))?;
        let rates: Vec<Decimal> = group
            .levels
            .iter()
            .filter_map(|at| levels.get(*at))
            .map(|level| level.rate.per_hundred())
            .collect();
        match spread(tax, &rates) {
            Ok(shares) => group.shares = shares,
            Err(_) => adds_up = false,
        }
        for (level, share) in group.levels.iter().zip(&group.shares) {
            if let Some(sum) = sums.get_mut(*level) {
                *sum = sum.checked_add(*share).ok_or(MoneyRefusal::TooLarge)?;
            }
        }
    }
    if adds_up && moved_to_fit(&mut groups, &mut sums, levels)? {
        return Ok(groups);
    }
    Ok(vec![Group {
        levels: (0..levels.len()).collect(),
        lines: (0..lines.len()).collect(),
        shares: levels.iter().map(|level| level.tax).collect(),
    }])
}

/// Moves cents between levels of one group until the groups add up to the levels: an invoice of a share of a sale may
/// have a level's cent where its own lines alone would not put it. Gives whether they do.
///
/// No cent is put on a line that a level leaves alone, and no level of a group gets the other sign.
fn moved_to_fit(
    groups: &mut [Group],
    sums: &mut [Cents],
    levels: &[CreditLevel],
) -> Result<bool, MoneyRefusal> {
    let off = |sums: &[Cents], at: usize| -> Result<i64, MoneyRefusal> {
        let (Some(level), Some(sum)) = (levels.get(at), sums.get(at)) else {
            return Ok(0);
        };
        let off = level.tax.checked_sub(*sum).ok_or(MoneyRefusal::TooLarge)?;
        Ok(off.0)
    };
    for group in groups {
        for (to, to_level) in group.levels.clone().into_iter().enumerate() {
            for (from, from_level) in group.levels.clone().into_iter().enumerate() {
                let wanted = off(sums, to_level)?.min(-off(sums, from_level)?);
                let (Some(takes), Some(gives)) = (group.shares.get(to), group.shares.get(from))
                else {
                    continue;
                };
                // Above zero what gives stays above zero, and below zero what takes stays below.
                let most = if gives.0 > 0 { gives.0 } else { -takes.0 };
                let cents = wanted.min(most);
                if to == from || cents <= 0 {
                    continue;
                }
                for (share, level, cents) in [(to, to_level, cents), (from, from_level, -cents)] {
                    let slots = [group.shares.get_mut(share), sums.get_mut(level)];
                    for slot in slots.into_iter().flatten() {
                        let moved = slot.checked_add(Cents(cents));
                        *slot = moved.ok_or(MoneyRefusal::TooLarge)?;
                    }
                }
            }
        }
    }
    let fits = sums
        .iter()
        .zip(levels)
        .all(|(sum, level)| *sum == level.tax);
    Ok(fits)
}
