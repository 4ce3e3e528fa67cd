//! The arithmetic of several programmes one after another: each pays of what the ones before it left.
//!
//! What a programme covers and does not pay, as its rates or caps leave it, is borne by the shop where its terms say so, as
//! far as no programme after it pays that.
//!
//! What must stay true: nobody pays more of a line than is left of it; a deductible is taken once on a call; of all ways
//! to ask the programmes in their order, the one counts by which the customer owes least, so that no programme more can
//! raise what the customer owes.

use rust_decimal::Decimal;

use super::decision::{CoverageRefusal, Line};
use super::programme::{Covers, Programme, RestBearer, Segment};
use crate::money::{Cents, spread_by_cents};

/// A programme that may be asked, with its segments in force.
pub(super) struct Asked<'a> {
    pub programme: &'a Programme,
    pub segments: Vec<&'a Segment>,
    /// Those of one number, from zero on, are asked all or none; they follow one another.
    pub together: usize,
}

/// What bounded a payment, for the trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Bound {
    Rate { line: usize, allowed: Cents },
    HoursUnknown { line: usize },
    DistanceUnknown { line: usize },
    Percent { line: usize, segment: usize },
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
}

/// The way that leaves the customer least: what each programme pays (none for one left aside), and what is left.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Stacked {
    pub payments: Vec<Option<Payment>>,
    pub left: Vec<Cents>,
}

/// Asks the programmes in order, leaving aside those whose being asked would leave the customer worse off.
///
/// Among equal ways the one counts in which more is asked of whoever comes first.
pub(super) fn stacked(asked: &[Asked], lines: &[Line]) -> Result<Stacked, CoverageRefusal> {
    let groups = asked.last().map_or(0, |last| last.together + 1);
    let everyone = 1_usize << groups;
    let mut best: Option<(Cents, Stacked)> = None;
    // From "ask all" downwards, so that of equal ways the first found asks the earliest programmes.
    for way in (0..everyone).rev() {
        let stacked = in_order(asked, lines, |one| {
            way & (1 << (groups - 1 - one.together)) != 0
        })?;
        let left = Cents::sum(stacked.left.iter().copied())?;
        if best.as_ref().is_none_or(|(least, _)| left < *least) {
            best = Some((left, stacked));
        }
    }
    best.map(|(_, stacked)| stacked)
        .ok_or(CoverageRefusal::TooLarge)
}

fn in_order(
    asked: &[Asked],
    lines: &[Line],
    is_asked: impl Fn(&Asked) -> bool,
) -> Result<Stacked, CoverageRefusal> {
    let mut left: Vec<Cents> = lines.iter().map(|line| line.amount).collect();
    let mut payments = Vec::with_capacity(asked.len());
    for one in asked {
        if !is_asked(one) {
            payments.push(None);
            continue;
        }
        let payment = pay(one, lines, &left)?;
        for (rest, paid) in left.iter_mut().zip(&payment.of_lines) {
            *rest = rest.checked_sub(*paid).ok_or(CoverageRefusal::TooLarge)?;
        }
        payments.push(Some(payment));
    }
    for payment in payments.iter_mut().flatten() {
        for (rest, borne) in left.iter_mut().zip(&mut payment.of_shop) {
            *borne = (*borne).min(*rest);
            *rest = rest.checked_sub(*borne).ok_or(CoverageRefusal::TooLarge)?;
        }
    }
    Ok(Stacked { payments, left })
}

/// What one programme pays of what is left.
fn pay(one: &Asked, lines: &[Line], left: &[Cents]) -> Result<Payment, CoverageRefusal> {
    let mut bounds = Vec::new();
    let mut of_lines = vec![Cents::ZERO; lines.len()];
    // What it would pay without rates and caps.
    let mut whole = of_lines.clone();
    let mut chosen = vec![None; lines.len()];
    for (place, line) in lines.iter().enumerate() {
        let rest = left.get(place).copied().unwrap_or(Cents::ZERO);
        let covering = (one.segments.iter().enumerate()).filter(|(_, segment)| {
            line.covers
                .is_some_and(|covers| segment.covers.contains(&covers))
        });
        let Some(base) = allowed(one.programme, line, place, rest, &mut bounds)? else {
            continue;
        };
        for (index, segment) in covering {
            let amount = segment.pays.percent.of(base)?;
            let slot = of_lines.get_mut(place).ok_or(CoverageRefusal::TooLarge)?;
            if chosen.get(place) == Some(&None) || amount > *slot {
                *slot = amount;
                if let Some(whole) = whole.get_mut(place) {
                    *whole = segment.pays.percent.of(rest)?;
                }
                if let Some(choice) = chosen.get_mut(place) {
                    *choice = Some(index);
                }
            }
        }
    }
    percents(one, lines, &chosen, &of_lines, &mut bounds);
    cap(one, lines, &chosen, (&mut of_lines, &mut bounds))?;
    let is_shops = one.programme.rest_borne_by == RestBearer::Shop;
    let deducted = deduct(one.programme, &mut of_lines)?;
    let of_whole = deduct(one.programme, &mut whole)?;
    // What the customer bears first is of what is covered, whoever bears the rest of it.
    let amount = if is_shops { of_whole } else { deducted };
    if amount > Cents::ZERO {
        bounds.push(Bound::Deductible { amount });
    }
    let of_shop = (whole.iter().zip(&of_lines))
        .map(|(whole, paid)| {
            let rest = whole.checked_sub(*paid).ok_or(CoverageRefusal::TooLarge)?;
            let borne = if is_shops { rest } else { Cents::ZERO };
            Ok::<_, CoverageRefusal>(borne.max(Cents::ZERO))
        })
        .collect::<Result<Vec<Cents>, CoverageRefusal>>()?;
    Ok(Payment {
        of_lines,
        of_shop,
        bounds,
    })
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

/// Takes the deductible off these amounts, in proportion; gives how much that was.
fn deduct(programme: &Programme, of_lines: &mut [Cents]) -> Result<Cents, CoverageRefusal> {
    let total = Cents::sum(of_lines.iter().copied())?;
    let borne = programme.deductible.min(total);
    if borne > Cents::ZERO {
        let rest = total.checked_sub(borne).ok_or(CoverageRefusal::TooLarge)?;
        lowered(of_lines, rest, |_| true)?;
    }
    Ok(borne)
}

/// What is left of a line as the programme's rates allow it; none where the rate cannot be applied.
fn allowed(
    programme: &Programme,
    line: &Line,
    place: usize,
    rest: Cents,
    bounds: &mut Vec<Bound>,
) -> Result<Option<Cents>, CoverageRefusal> {
    let by_rate = |rate: Option<Cents>, measure: Option<Decimal>| match (rate, measure) {
        (None, _) => Ok(Some(rest)),
        (Some(rate), Some(measure)) => Ok(Some(rate.times_half_up(measure)?)),
        (Some(_), None) => Ok::<_, CoverageRefusal>(None),
    };
    let (amount, unknown) = match line.covers {
        None => return Ok(None),
        Some(Covers::Parts) => return Ok(Some(rest)),
        Some(Covers::Labour) => (
            by_rate(programme.labour_rate, line.hours)?,
            Bound::HoursUnknown { line: place },
        ),
        Some(Covers::Trip) => (
            by_rate(programme.distance_rate, line.distance)?,
            Bound::DistanceUnknown { line: place },
        ),
    };
    match amount {
        None => {
            bounds.push(unknown);
            Ok(None)
        }
        Some(amount) if amount < rest => {
            bounds.push(Bound::Rate {
                line: place,
                allowed: amount,
            });
            Ok(Some(amount))
        }
        Some(_) => Ok(Some(rest)),
    }
}

fn percents(
    one: &Asked,
    lines: &[Line],
    chosen: &[Option<usize>],
    of_lines: &[Cents],
    bounds: &mut Vec<Bound>,
) {
    for (line, choice) in chosen.iter().enumerate().take(lines.len()) {
        let Some(segment) = *choice else { continue };
        let is_part = (one.segments.get(segment))
            .is_some_and(|chosen| chosen.pays.percent.per_hundred() < Decimal::ONE_HUNDRED);
        let is_paid = of_lines.get(line).is_some_and(|paid| *paid > Cents::ZERO);
        if is_part && is_paid {
            bounds.push(Bound::Percent { line, segment });
        }
    }
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
