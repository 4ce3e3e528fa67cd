//! The arithmetic of several programmes one after another: each pays of what the ones before it left.
//!
//! What a programme covers and does not pay, as its rates or caps leave it, is borne by the shop where its terms say so, as
//! far as no programme after it pays that. Of a programme's own segments each line falls to the one of the highest percent;
//! one with a cap is left aside where another then pays more of what it covers.
//!
//! What must stay true: nobody pays more of a line than is left of it; a deductible is taken once on a call; of all ways
//! to ask the programmes in their order, the one counts by which the customer owes least, so that no programme more can
//! raise what the customer owes, nor a segment more of one programme alone.

use super::decision::{CoverageRefusal, Line};
use super::payment::{Asked, Open, Payment, Unmeasured, is_capped, pay};
use super::programme::Segment;
use crate::money::Cents;

/// Most capped segments that are left aside or not in each way, over all programmes asked; where there are more of them, each
/// programme by itself pays what it pays most by.
const ASIDE_TOGETHER_MAX: usize = 4;
/// Most capped segments of one programme of which every choice is looked at.
const ASIDE_MAX: usize = 4;

/// The way that leaves the customer least: what each programme pays (none for one left aside), and what is left.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Stacked {
    pub payments: Vec<Option<Payment>>,
    pub left: Vec<Cents>,
}

impl Stacked {
    /// What the customer owes.
    pub(super) fn customer(&self) -> Result<Cents, CoverageRefusal> {
        Ok(Cents::sum(self.left.iter().copied())?)
    }

    /// What the customer owes, and then what the shop bears.
    fn owed(&self) -> Result<(Cents, Cents), CoverageRefusal> {
        let payments = self.payments.iter().flatten();
        let of_shop = payments.flat_map(|payment| payment.of_shop.iter().copied());
        Ok((self.customer()?, Cents::sum(of_shop)?))
    }
}

/// Asks the programmes in order, leaving aside those whose being asked would leave the customer worse off.
///
/// Among equal ways the one counts in which more is asked of whoever comes first.
pub(super) fn stacked(
    asked: &[Asked],
    lines: &[Line],
    unmeasured: Unmeasured,
) -> Result<Stacked, CoverageRefusal> {
    let groups = asked.last().map_or(0, |last| last.together + 1);
    let everyone = 1_usize << groups;
    let stack = Stack {
        rivals: asked.iter().map(|one| rivals(one, lines)).collect(),
        asked,
        lines,
        unmeasured,
    };
    let mut best: Option<(Cents, Stacked)> = None;
    // From "ask all" downwards, so that of equal ways the first found asks the earliest programmes.
    for way in (0..everyone).rev() {
        let stacked = stack.by_way(|one| way & (1 << (groups - 1 - one.together)) != 0)?;
        let left = stacked.customer()?;
        if best.as_ref().is_none_or(|(least, _)| left < *least) {
            best = Some((left, stacked));
        }
    }
    best.map(|(_, stacked)| stacked)
        .ok_or(CoverageRefusal::TooLarge)
}

/// The programmes and the lines they are asked about.
struct Stack<'a> {
    asked: &'a [Asked<'a>],
    lines: &'a [Line],
    /// Of each programme, places of its capped segments that cover a line which another of its segments covers too.
    rivals: Vec<Vec<usize>>,
    unmeasured: Unmeasured,
}

/// Which capped segments are left aside.
#[derive(Clone, Copy)]
enum Aside {
    /// By bits, over the rivals of all programmes asked.
    Bits(usize),
    /// Each programme those without which it pays most.
    ByItself,
}

impl Stack<'_> {
    /// The best for the customer with these programmes asked, and then for the shop.
    fn by_way(&self, is_asked: impl Fn(&Asked) -> bool) -> Result<Stacked, CoverageRefusal> {
        let asked = self.asked.iter().zip(&self.rivals);
        let rivals = asked.filter(|(one, _)| is_asked(one));
        let rivals: usize = rivals.map(|(_, rivals)| rivals.len()).sum();
        if rivals > ASIDE_TOGETHER_MAX {
            return self.in_order(&is_asked, Aside::ByItself);
        }
        let mut best = self.in_order(&is_asked, Aside::Bits(0))?;
        for bits in 1..1_usize << rivals {
            let other = self.in_order(&is_asked, Aside::Bits(bits))?;
            if other.owed()? < best.owed()? {
                best = other;
            }
        }
        Ok(best)
    }

    fn in_order(
        &self,
        is_asked: &impl Fn(&Asked) -> bool,
        aside: Aside,
    ) -> Result<Stacked, CoverageRefusal> {
        let mut aside = aside;
        let mut left: Vec<Cents> = self.lines.iter().map(|line| line.amount).collect();
        let mut payments: Vec<Option<Payment>> = Vec::with_capacity(self.asked.len());
        for (one, rivals) in self.asked.iter().zip(&self.rivals) {
            if !is_asked(one) {
                payments.push(None);
                continue;
            }
            let open = self.open(one, &left, &payments)?;
            let payment = match &mut aside {
                Aside::ByItself => self.pay_most(one, rivals, &open)?,
                Aside::Bits(bits) => {
                    let its = picked(rivals, *bits);
                    *bits >>= rivals.len();
                    pay(one, self.lines, (&its, &open), self.unmeasured)?
                }
            };
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

    /// What is left for a programme to pay: nothing of a line that it pays by another of its registrations.
    fn open(
        &self,
        one: &Asked,
        left: &[Cents],
        payments: &[Option<Payment>],
    ) -> Result<Open, CoverageRefusal> {
        let mut open = Open {
            lines: left.to_vec(),
            deductible: one.programme.deductible,
        };
        for (before, payment) in self.asked.iter().zip(payments) {
            let Some(payment) = payment.as_ref().filter(|_| before.same == one.same) else {
                continue;
            };
            let paid = payment.of_lines.iter().zip(&payment.of_shop);
            for (rest, (paid, borne)) in open.lines.iter_mut().zip(paid) {
                if *paid > Cents::ZERO || *borne > Cents::ZERO {
                    *rest = Cents::ZERO;
                }
            }
            let rest = open.deductible.checked_sub(payment.deducted);
            open.deductible = rest.ok_or(CoverageRefusal::TooLarge)?.max(Cents::ZERO);
        }
        Ok(open)
    }

    /// What a programme pays by those of its segments by which the customer owes least.
    fn pay_most(
        &self,
        one: &Asked,
        rivals: &[usize],
        open: &Open,
    ) -> Result<Payment, CoverageRefusal> {
        let mut best: Option<(Cents, Payment)> = None;
        for aside in choices(rivals) {
            let payment = pay(one, self.lines, (&aside, open), self.unmeasured)?;
            let amounts = payment.of_lines.iter().chain(&payment.of_shop).copied();
            let taken = Cents::sum(amounts)?;
            let paid = |payment: &Payment| Cents::sum(payment.of_lines.iter().copied());
            let is_better = match &best {
                None => true,
                Some((most, before)) => {
                    taken > *most || (taken == *most && paid(&payment)? > paid(before)?)
                }
            };
            if is_better {
                best = Some((taken, payment));
            }
        }
        best.map(|(_, payment)| payment)
            .ok_or(CoverageRefusal::TooLarge)
    }
}

/// Places of the capped segments that cover a line which another segment covers too.
fn rivals(one: &Asked, lines: &[Line]) -> Vec<usize> {
    let covers = |segment: &Segment, line: &Line| {
        line.amount > Cents::ZERO
            && (line.covers).is_some_and(|covers| segment.covers.contains(&covers))
    };
    let is_shared = |index: usize, segment: &Segment| {
        let mut others = (one.segments.iter().enumerate()).filter(|(other, _)| *other != index);
        others.any(|(_, other)| {
            let mut lines = lines.iter();
            lines.any(|line| covers(segment, line) && covers(other, line))
        })
    };
    (one.segments.iter().enumerate())
        .filter(|(index, segment)| is_capped(segment, None) && is_shared(*index, segment))
        .map(|(index, _)| index)
        .collect()
}

/// Those rivals whose bits are set.
fn picked(rivals: &[usize], bits: usize) -> Vec<usize> {
    let set = (rivals.iter().enumerate()).filter(|(bit, _)| bits & (1 << bit) != 0);
    set.map(|(_, index)| *index).collect()
}

/// Which rivals may be left aside, "none of them" first: all choices, or where there are too many all of them, each by itself,
/// and all but each.
fn choices(rivals: &[usize]) -> Vec<Vec<usize>> {
    if rivals.len() <= ASIDE_MAX {
        return (0..1_usize << rivals.len())
            .map(|bits| picked(rivals, bits))
            .collect();
    }
    let each = rivals.iter().map(|index| vec![*index]);
    let but_each = rivals.iter().map(|kept| {
        let others = rivals.iter().copied().filter(|index| index != kept);
        others.collect()
    });
    let ends = [Vec::new(), rivals.to_vec()];
    ends.into_iter().chain(each).chain(but_each).collect()
}
