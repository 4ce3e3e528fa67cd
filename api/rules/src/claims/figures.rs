//! How a payer treats the shop's claims: what it approves, pays and refuses, and how long it takes.
//!
//! Words: a claim is *answered* once the payer approved, denied or paid anything, and by its last answer; *recovered* is what came in of what was
//! claimed; the *normal price* is what the shop asks anybody for the lines that the payer pays anything of. What must
//! stay true: shares are exact to the tenth of a percent and never guessed from nothing; what was claimed is paid, open or
//! written down, by claim and in sum.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::ClaimState;
use crate::invoice::{Ageing, OpenItem, ageing};
use crate::money::{Cents, MoneyRefusal};

/// What a payer said to a claim.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PayersAnswer {
    #[default]
    Waiting,
    InFull,
    InPart,
    Denied,
}

/// What became of one claim.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClaimStory {
    pub state: ClaimState,
    /// The payer's last answer, whatever was paid.
    #[serde(default)]
    pub answered: PayersAnswer,
    pub submitted_on: NaiveDate,
    pub due_on: NaiveDate,
    /// With tax.
    pub claimed: Cents,
    pub paid: Cents,
    pub written_down: Cents,
    /// Before tax.
    pub claimed_net: Cents,
    /// Before tax.
    pub normal: Cents,
    /// The day on which all that was claimed had come in.
    pub paid_in_full_on: Option<NaiveDate>,
    /// Why less was paid, as the payer last put it.
    pub reason: Option<String>,
}

/// What was paid short or denied for one reason.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReasonFigure {
    /// None where the payer gave none.
    pub reason: Option<String>,
    pub count: usize,
    /// What was not paid of these claims.
    pub unpaid: Cents,
}

/// Figures of claims.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct PayerFigures {
    pub filed: usize,
    pub answered: usize,
    pub in_full: usize,
    pub in_part: usize,
    pub denied: usize,
    /// Percent of the answered that were approved, in full or in part.
    pub approved_share: Option<Decimal>,
    pub claimed: Cents,
    pub paid: Cents,
    pub written_down: Cents,
    pub open: Cents,
    /// Percent of what was claimed that came in.
    pub recovered_share: Option<Decimal>,
    pub claimed_net: Cents,
    pub normal: Cents,
    /// Percent of the normal price that was claimed, before tax: what the payer's rates leave of it.
    pub claimed_of_normal: Option<Decimal>,
    /// How many claims the days to pay are of.
    pub paid_in_full: usize,
    pub days_median: Option<Decimal>,
    pub days_mean: Option<Decimal>,
    /// The dearest first.
    pub reasons: Vec<ReasonFigure>,
    pub open_by_age: Ageing,
}

impl ClaimStory {
    /// What is still open.
    ///
    /// # Errors
    /// `TooLarge`.
    pub fn open(&self) -> Result<Cents, MoneyRefusal> {
        less(less(self.claimed, self.paid)?, self.written_down)
    }

    /// What the payer said: by its money, and by its last answer where none came in. What was submitted again waits.
    #[must_use]
    pub fn answer(&self) -> PayersAnswer {
        use ClaimState as S;
        if matches!(self.state, S::Draft | S::Ready) {
            return PayersAnswer::Waiting;
        }
        if self.paid >= self.claimed {
            return PayersAnswer::InFull;
        }
        if self.paid > Cents::ZERO {
            return PayersAnswer::InPart;
        }
        match self.state {
            S::Submitted | S::Queried => PayersAnswer::Waiting,
            _ => self.answered,
        }
    }
}

/// Adds up what became of claims, as of a day.
///
/// # Errors
/// `TooLarge`.
///
/// # Source
/// Common practice, no source; the median of an even count is the middle of the two middle values.
pub fn payer_figures(claims: &[ClaimStory], on: NaiveDate) -> Result<PayerFigures, MoneyRefusal> {
    let of = |amount: fn(&ClaimStory) -> Cents| Cents::sum(claims.iter().map(amount));
    let count = |wanted| {
        claims
            .iter()
            .filter(|claim| claim.answer() == wanted)
            .count()
    };
    let (in_full, in_part) = (count(PayersAnswer::InFull), count(PayersAnswer::InPart));
    let denied = count(PayersAnswer::Denied);
    let answered = in_full + in_part + denied;
    let (claimed, paid) = (of(|claim| claim.claimed)?, of(|claim| claim.paid)?);
    let written_down = of(|claim| claim.written_down)?;
    let (claimed_net, normal) = (of(|claim| claim.claimed_net)?, of(|claim| claim.normal)?);
    let open = open_items(claims)?;
    let mut days: Vec<i64> = (claims.iter())
        .filter_map(|claim| Some((claim.paid_in_full_on? - claim.submitted_on).num_days()))
        .collect();
    days.sort_unstable();
    Ok(PayerFigures {
        filed: claims.len(),
        answered,
        in_full,
        in_part,
        denied,
        approved_share: percent(whole(in_full + in_part), whole(answered)),
        claimed,
        paid,
        written_down,
        open: less(less(claimed, paid)?, written_down)?,
        recovered_share: percent(paid.0, claimed.0),
        claimed_net,
        normal,
        claimed_of_normal: percent(claimed_net.0, normal.0),
        paid_in_full: days.len(),
        days_median: median(&days),
        days_mean: tenths(
            days.iter().map(|days| i128::from(*days)).sum(),
            whole(days.len()),
        ),
        reasons: reasons(claims)?,
        open_by_age: ageing(&open, on)?,
    })
}

fn open_items(claims: &[ClaimStory]) -> Result<Vec<OpenItem>, MoneyRefusal> {
    let items = claims.iter().map(|claim| {
        Ok(OpenItem {
            due_on: claim.due_on,
            open: claim.open()?,
        })
    });
    let items: Vec<OpenItem> = items.collect::<Result<_, MoneyRefusal>>()?;
    Ok((items.into_iter())
        .filter(|item| item.open > Cents::ZERO)
        .collect())
}

/// Claims that were denied or paid in part, by reason.
fn reasons(claims: &[ClaimStory]) -> Result<Vec<ReasonFigure>, MoneyRefusal> {
    let mut by_reason: BTreeMap<Option<&str>, (usize, Cents)> = BTreeMap::new();
    for claim in claims {
        if !matches!(claim.answer(), PayersAnswer::InPart | PayersAnswer::Denied) {
            continue;
        }
        let (count, unpaid) = by_reason.entry(claim.reason.as_deref()).or_default();
        *count += 1;
        *unpaid = Cents::sum([*unpaid, less(claim.claimed, claim.paid)?])?;
    }
    let mut figures: Vec<ReasonFigure> = (by_reason.into_iter())
        .map(|(reason, (count, unpaid))| ReasonFigure {
            reason: reason.map(str::to_owned),
            count,
            unpaid,
        })
        .collect();
    figures.sort_by_key(|one| std::cmp::Reverse(one.unpaid));
    Ok(figures)
}

fn less(amount: Cents, other: Cents) -> Result<Cents, MoneyRefusal> {
    amount.checked_sub(other).ok_or(MoneyRefusal::TooLarge)
}

fn whole(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

/// Percent to the tenth, half up; none of nothing.
fn percent(part: i64, whole: i64) -> Option<Decimal> {
    tenths(i128::from(part) * 100, whole)
}

/// A quotient to the tenth, half up; none by nothing.
fn tenths(part: i128, by: i64) -> Option<Decimal> {
    let by = i128::from(by);
    if by <= 0 {
        return None;
    }
    let rounded = (part * 20 + by).div_euclid(by * 2);
    Decimal::try_from_i128_with_scale(rounded, 1).ok()
}

/// The middle of numbers in order; between the two middle ones where there are two.
fn median(sorted: &[i64]) -> Option<Decimal> {
    let upper = sorted.len() / 2;
    let lower = sorted.len().checked_sub(1)? / 2;
    let both = i128::from(*sorted.get(lower)?) + i128::from(*sorted.get(upper)?);
    tenths(both, 2)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::worked::rows;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a day")
    }

    #[derive(Deserialize)]
    struct Input {
        on: NaiveDate,
        claims: Vec<ClaimStory>,
    }

    #[test]
    fn the_worked_payers_come_to_their_figures() {
        let json = include_str!("../../../../fixtures/worked/payer-figures.json");
        for row in rows::<Input, PayerFigures>(json) {
            let figures = payer_figures(&row.input.claims, row.input.on).expect("figures");
            assert_eq!(figures, row.expected, "{}", row.source);
        }
    }

    #[test]
    fn of_no_claims_there_is_no_share_and_no_day() {
        let figures = payer_figures(&[], day("2026-11-28")).expect("figures");
        assert_eq!(figures, PayerFigures::default());
    }

    #[test]
    fn what_nobody_denied_is_not_counted_as_denied_whatever_was_paid_back() {
        use ClaimState as S;
        use PayersAnswer as A;
        let story = |state, answered, paid| ClaimStory {
            state,
            answered,
            submitted_on: day("2026-01-01"),
            due_on: day("2026-02-01"),
            claimed: Cents(100),
            paid: Cents(paid),
            written_down: Cents::ZERO,
            claimed_net: Cents(100),
            normal: Cents(100),
            paid_in_full_on: None,
            reason: None,
        };
        for (state, answered, paid, expected) in [
            (S::Closed, A::Waiting, 0, A::Waiting),
            (S::Paid, A::Waiting, 0, A::Waiting),
            (S::Paid, A::InFull, 0, A::InFull),
            (S::Appealed, A::Denied, 0, A::Denied),
            (S::Closed, A::Denied, 0, A::Denied),
            (S::Denied, A::Denied, 40, A::InPart),
            (S::Submitted, A::Denied, 0, A::Waiting),
            (S::Denied, A::Denied, 100, A::InFull),
        ] {
            assert_eq!(story(state, answered, paid).answer(), expected);
        }
    }

    fn story() -> impl Strategy<Value = ClaimStory> {
        let states = prop::sample::select(vec![
            ClaimState::Submitted,
            ClaimState::Approved,
            ClaimState::PartApproved,
            ClaimState::Denied,
            ClaimState::Paid,
            ClaimState::Appealed,
            ClaimState::Closed,
        ]);
        let money = (1_i64..1_000_000, 0_i64..=1_000, 0_i64..=1_000);
        let answers = prop::sample::select(vec![
            PayersAnswer::Waiting,
            PayersAnswer::InFull,
            PayersAnswer::InPart,
            PayersAnswer::Denied,
        ]);
        (
            (states, answers),
            money,
            0_i64..200,
            0_i64..400,
            prop::option::of("[A-C]{2}"),
        )
            .prop_map(
                |((state, answered), (claimed, paid, down), took, waited, reason)| {
                    let paid = claimed * paid / 1_000;
                    let written_down = (claimed - paid) * down / 1_000;
                    let submitted_on = day("2026-01-01") + chrono::Duration::days(waited);
                    ClaimStory {
                        state,
                        answered,
                        submitted_on,
                        due_on: submitted_on + chrono::Duration::days(30),
                        claimed: Cents(claimed),
                        paid: Cents(paid),
                        written_down: Cents(written_down),
                        claimed_net: Cents(claimed),
                        normal: Cents(claimed + down),
                        paid_in_full_on: (paid == claimed)
                            .then(|| submitted_on + chrono::Duration::days(took)),
                        reason,
                    }
                },
            )
    }

    proptest! {
        #[test]
        fn sums_tie_shares_stay_within_bounds_and_order_does_not_matter(
            mut claims in prop::collection::vec(story(), 1..20),
        ) {
            let on = day("2026-11-28");
            let figures = payer_figures(&claims, on)?;
            prop_assert_eq!(figures.paid.0 + figures.written_down.0 + figures.open.0, figures.claimed.0);
            let ages = figures.open_by_age;
            let aged = [ages.not_yet_due, ages.days_1_to_30, ages.days_31_to_60, ages.days_61_to_90, ages.over_90];
            prop_assert_eq!(Cents::sum(aged)?, figures.open);
            prop_assert_eq!(figures.in_full + figures.in_part + figures.denied, figures.answered);
            let by_reason: usize = figures.reasons.iter().map(|reason| reason.count).sum();
            prop_assert_eq!(by_reason, figures.in_part + figures.denied);
            for share in [figures.approved_share, figures.recovered_share].into_iter().flatten() {
                prop_assert!(share >= Decimal::ZERO && share <= Decimal::ONE_HUNDRED);
            }
            if let (Some(median), Some(mean)) = (figures.days_median, figures.days_mean) {
                prop_assert!(median >= Decimal::ZERO && median < Decimal::from(200));
                prop_assert!(mean >= Decimal::ZERO && mean < Decimal::from(200));
            }
            claims.reverse();
            let mut turned = payer_figures(&claims, on)?;
            let mut first = figures;
            for each in [&mut turned, &mut first] {
                each.reasons.sort_by(|one, other| one.reason.cmp(&other.reason));
            }
            prop_assert_eq!(turned, first);
        }
    }
}
