//! What one programme pays of a repair: its segments, rates, flat labor, caps and deductible.
//!
//! What must stay true: nobody pays more of a line than is left of it; where the shop bears what rates and caps leave, the
//! customer bears the deductible and the share beyond the percents, to the cent.

use rust_decimal::Decimal;

use super::decision::{CoverageRefusal, Line};
use super::programme::{Covers, Programme, RestBearer, Segment};
use crate::money::{Cents, spread_by_cents};
use crate::percent::Percent;

/// What counts of a line whose hours or distance a rate needs and nobody knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unmeasured {
    /// All that is left of it, as is expected once they are known.
    CountsInFull,
    /// Nothing, as nothing is sure of it.
    IsNotPaid,
}

/// A programme that may be asked, with its segments in force.
pub(super) struct Asked<'a> {
    pub programme: &'a Programme,
    pub segments: Vec<&'a Segment>,
    /// Those of one number, from zero on, are asked all or none; they follow one another.
    pub together: usize,
    /// Those of one number are of one programme, held more than once: it pays a line once, and its deductible is taken once.
    pub same: usize,
}

/// What bounded a payment, for the trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Bound {
    Rate { line: usize, allowed: Cents },
    HoursUnknown { line: usize },
    DistanceUnknown { line: usize },
    Percent { line: usize, percent: Percent },
    FlatLabour { amount: Cents },
    AtMost { amount: Cents },
    Deductible { amount: Cents },
}

/// What one programme pays of each line, and what bounded it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Payment {
    pub of_lines: Vec<Cents>,
    /// What the shop bears of each line in place of what the programme's rates and caps leave.
    pub of_shop: Vec<Cents>,
    pub bounds: Vec<Bound>,
    /// What of the deductible was taken.
    pub deducted: Cents,
}

/// What is left for one programme.
pub(super) struct Open {
    pub lines: Vec<Cents>,
    pub deductible: Cents,
}

/// What a programme pays of what is open, by its segments but those left aside.
///
/// Each line falls to the segment of the highest percent.
pub(super) fn pay(
    one: &Asked,
    lines: &[Line],
    (aside, open): (&[usize], &Open),
    unmeasured: Unmeasured,
) -> Result<Payment, CoverageRefusal> {
    let mut bounds = Vec::new();
    let mut of_lines = vec![Cents::ZERO; lines.len()];
    // What it would pay without rates and caps.
    let mut whole = of_lines.clone();
    let mut chosen = vec![None; lines.len()];
    let slots = of_lines.iter_mut().zip(&mut whole).zip(&mut chosen);
    for ((place, line), ((paid, whole), choice)) in lines.iter().enumerate().zip(slots) {
        let rest = open.lines.get(place).copied().unwrap_or(Cents::ZERO);
        let Some((index, segment)) = segment_of(one, aside, line) else {
            continue;
        };
        if rest == Cents::ZERO {
            continue;
        }
        let base = match allowed(one.programme, line, rest)? {
            Allowed::All => rest,
            Allowed::Less(allowed) => {
                let line = place;
                bounds.push(Bound::Rate { line, allowed });
                allowed
            }
            Allowed::Unknown(covers) => {
                let line = place;
                bounds.push(match covers {
                    Covers::Trip => Bound::DistanceUnknown { line },
                    Covers::Parts | Covers::Labour => Bound::HoursUnknown { line },
                });
                match unmeasured {
                    Unmeasured::CountsInFull => rest,
                    Unmeasured::IsNotPaid => Cents::ZERO,
                }
            }
        };
        let percent = segment.pays.percent;
        *paid = percent.of(base)?;
        *whole = percent.of(rest)?;
        *choice = Some(index);
        if percent.per_hundred() < Decimal::ONE_HUNDRED && *paid > Cents::ZERO {
            let line = place;
            bounds.push(Bound::Percent { line, percent });
        }
    }
    cap(one, lines, &chosen, (&mut of_lines, &mut bounds))?;
    finished(one, open.deductible, (of_lines, whole, bounds))
}

/// A payment after the deductible, with what the shop bears of what is covered and not paid.
fn finished(
    one: &Asked,
    deductible: Cents,
    (mut of_lines, mut whole, mut bounds): (Vec<Cents>, Vec<Cents>, Vec<Bound>),
) -> Result<Payment, CoverageRefusal> {
    let is_shops = one.programme.rest_borne_by == RestBearer::Shop;
    let of_paid = deduct(deductible, &mut of_lines)?;
    let of_whole = deduct(deductible, &mut whole)?;
    // What the customer bears first is of what is covered, whoever bears the rest of it.
    let deducted = if is_shops { of_whole } else { of_paid };
    if deducted > Cents::ZERO {
        bounds.push(Bound::Deductible { amount: deducted });
    }
    let mut of_shop = vec![Cents::ZERO; of_lines.len()];
    if is_shops {
        for ((whole, paid), borne) in whole.iter().zip(&mut of_lines).zip(&mut of_shop) {
            // A cent more by rounding would be taken off the customer's deductible.
            *paid = (*paid).min(*whole);
            *borne = whole.checked_sub(*paid).ok_or(CoverageRefusal::TooLarge)?;
        }
    }
    Ok(Payment {
        of_lines,
        of_shop,
        bounds,
        deducted,
    })
}

/// The segment that a line falls to: the one of the highest percent, of those one without a cap, and of those the first.
fn segment_of<'a>(one: &'a Asked, aside: &[usize], line: &Line) -> Option<(usize, &'a Segment)> {
    let covers = line.covers?;
    let in_use = (one.segments.iter().enumerate())
        .filter(|(index, segment)| !aside.contains(index) && segment.covers.contains(&covers));
    let rank = |segment: &Segment| {
        let is_free = !is_capped(segment, Some(covers));
        (segment.pays.percent.per_hundred(), is_free)
    };
    let mut best: Option<(usize, &Segment)> = None;
    for (index, segment) in in_use {
        if best.is_none_or(|(_, before)| rank(segment) > rank(before)) {
            best = Some((index, segment));
        }
    }
    best
}

/// Whether a segment pays at most an amount: of lines for this, or of any it covers.
pub(super) fn is_capped(segment: &Segment, of: Option<Covers>) -> bool {
    let is_labour = of.is_none_or(|covers| covers == Covers::Labour);
    segment.pays.at_most.is_some()
        || (segment.pays.flat_labour.is_some()
            && is_labour
            && segment.covers.contains(&Covers::Labour))
}

/// Lowers what is paid to the flat labor and the caps of the segments.
fn cap(
    one: &Asked,
    lines: &[Line],
    chosen: &[Option<usize>],
    (of_lines, bounds): (&mut [Cents], &mut Vec<Bound>),
) -> Result<(), CoverageRefusal> {
    for (index, segment) in one.segments.iter().enumerate() {
        let its = |place: &usize| chosen.get(*place) == Some(&Some(index));
        if let Some(amount) = segment.pays.flat_labour {
            let labour = |place: &usize| {
                its(place)
                    && lines
                        .get(*place)
                        .is_some_and(|line| line.covers == Some(Covers::Labour))
            };
            if lowered(of_lines, amount, labour)? {
                bounds.push(Bound::FlatLabour { amount });
            }
        }
        if let Some(amount) = segment.pays.at_most
            && lowered(of_lines, amount, its)?
        {
            bounds.push(Bound::AtMost { amount });
        }
    }
    Ok(())
}

/// Takes a deductible off these amounts, in proportion; gives how much that was.
fn deduct(deductible: Cents, of_lines: &mut [Cents]) -> Result<Cents, CoverageRefusal> {
    let total = Cents::sum(of_lines.iter().copied())?;
    let borne = deductible.min(total);
    if borne > Cents::ZERO {
        let rest = total.checked_sub(borne).ok_or(CoverageRefusal::TooLarge)?;
        lowered(of_lines, rest, |_| true)?;
    }
    Ok(borne)
}

/// What a programme's rates allow of what is left of a line.
enum Allowed {
    All,
    Less(Cents),
    /// The rate cannot be applied.
    Unknown(Covers),
}

/// Which lines of a programme lack what its rates go by.
pub(super) fn is_unmeasured(programme: &Programme, line: &Line) -> Option<Covers> {
    let lacks = match line.covers? {
        Covers::Parts => false,
        Covers::Labour => programme.labour_rate.is_some() && line.hours.is_none(),
        Covers::Trip => programme.distance_rate.is_some() && line.distance.is_none(),
    };
    line.covers.filter(|_| lacks)
}

fn allowed(programme: &Programme, line: &Line, rest: Cents) -> Result<Allowed, CoverageRefusal> {
    if let Some(covers) = is_unmeasured(programme, line) {
        return Ok(Allowed::Unknown(covers));
    }
    let by_rate = match line.covers {
        Some(Covers::Labour) => programme.labour_rate.zip(line.hours),
        Some(Covers::Trip) => programme.distance_rate.zip(line.distance),
        Some(Covers::Parts) | None => None,
    };
    let Some((rate, measure)) = by_rate else {
        return Ok(Allowed::All);
    };
    let amount = rate.times_half_up(measure)?;
    Ok(if amount < rest {
        Allowed::Less(amount)
    } else {
        Allowed::All
    })
}

/// Lowers the payments of the lines meant to this total, in proportion; says whether it had to.
fn lowered(
    of_lines: &mut [Cents],
    total: Cents,
    is_meant: impl Fn(&usize) -> bool,
) -> Result<bool, CoverageRefusal> {
    let weights: Vec<Cents> = (of_lines.iter().enumerate())
        .map(|(place, paid)| if is_meant(&place) { *paid } else { Cents::ZERO })
        .collect();
    if Cents::sum(weights.iter().copied())? <= total {
        return Ok(false);
    }
    let shares = spread_by_cents(total, &weights)?;
    for (place, (paid, share)) in of_lines.iter_mut().zip(shares).enumerate() {
        if is_meant(&place) {
            *paid = share;
        }
    }
    Ok(true)
}
