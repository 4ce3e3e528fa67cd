//! The decision: each line of a repair split over the programmes and the customer, with the reasons.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::look::{Look, look};
use super::payment::{Asked, Bound, Payment, Unmeasured};
use super::programme::{Covers, Evidence, Exclusion, Rank, Registration};
use super::stack::{Stacked, stacked};
use super::words::{Missing, Reason, Step};
use crate::dates::DateRefusal;
use crate::money::{Cents, MoneyRefusal, SpreadRefusal};

/// The most programmes that may pay for one repair; those that do not come into question are not counted. While nobody knows
/// what failed, all promises of the shop's own on components count as one, as the failure is of one component at most.
pub const PROGRAMMES_MAX: usize = 10;

/// What is wrong with the machine, once somebody looked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    pub component: String,
    pub component_class: Option<String>,
    pub failure: String,
}

/// What is known of the failure.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Case {
    /// The day the customer told of it.
    pub failed_on: NaiveDate,
    /// None before the visit.
    pub finding: Option<Finding>,
    /// What was found to have failed beside it, of other components.
    #[serde(default)]
    pub also_found: Vec<Finding>,
    /// Whether somebody said that this finding, of several, is the one that counts.
    #[serde(default)]
    pub is_finding_named: bool,
    /// What is known to be so.
    #[serde(default)]
    pub circumstances: BTreeSet<Exclusion>,
    /// What was asked and is not settled yet.
    #[serde(default)]
    pub unsettled: BTreeSet<Exclusion>,
    /// The evidence at hand.
    #[serde(default)]
    pub evidence: BTreeSet<Evidence>,
}

/// One line of the repair, before tax; never below zero.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Line {
    /// None for a charge that no programme pays.
    pub covers: Option<Covers>,
    pub amount: Cents,
    /// Of labour, where the programme pays by the hour.
    #[serde(default)]
    pub hours: Option<Decimal>,
    /// Of a trip, where the programme pays by distance; in the shop's unit.
    #[serde(default)]
    pub distance: Option<Decimal>,
}

/// Who pays what falls to a programme.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PaidBy {
    /// Whose programme it is.
    #[default]
    Payer,
    /// The shop, in place of what the programme's rates and caps leave.
    Shop,
}

/// What one programme pays of a line, or the shop in its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Portion {
    /// Place of the programme in what was given to [`decide`].
    pub registration: usize,
    pub amount: Cents,
    #[serde(default)]
    pub by: PaidBy,
}

/// Who pays a line; the portions and the customer's part add up to it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineSplit {
    pub portions: Vec<Portion>,
    pub customer: Cents,
}

/// What a programme answers.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "answer", content = "missing")]
pub enum Answer {
    Pays,
    /// It pays once these are there.
    PaysOnce(Vec<Missing>),
    /// It would pay, but asking it would leave the customer worse off, or nothing was left to pay. One by which the shop
    /// bears something in the payer's place does answer.
    NotAsked,
    DoesNotPay,
}

/// Who pays what, and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Decision {
    /// The split once all that is missing is there.
    pub lines: Vec<LineSplit>,
    /// What the customer owes then.
    pub customer: Cents,
    /// The split by what is sure today.
    pub sure_lines: Vec<LineSplit>,
    /// What the customer owes at most, if nothing that is missing turns up.
    pub customer_at_most: Cents,
    /// One for each registration, in the order given.
    pub answers: Vec<Answer>,
    pub steps: Vec<Step>,
}

/// Why there is no decision.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum CoverageRefusal {
    #[error("line {line} is below zero")]
    NegativeLine { line: usize },
    #[error("{count} programmes may pay for this; at most {PROGRAMMES_MAX} are decided at a time")]
    TooManyProgrammes { count: usize },
    #[error("the amounts are too large")]
    TooLarge,
    #[error(transparent)]
    Date(#[from] DateRefusal),
}

impl From<MoneyRefusal> for CoverageRefusal {
    fn from(_: MoneyRefusal) -> Self {
        Self::TooLarge
    }
}

impl From<SpreadRefusal> for CoverageRefusal {
    fn from(_: SpreadRefusal) -> Self {
        Self::TooLarge
    }
}

/// Decides who pays for a repair.
///
/// Shape: one split for each line, one answer for each registration, and the reasons in the order in which they were
/// weighed. Programmes are asked by rank, then in the order given; each pays of what those before it left. Unit: cents
/// before tax, each portion rounded half away from zero.
///
/// # Errors
/// `NegativeLine`, `TooManyProgrammes`, `TooLarge`; dates beyond the calendar.
///
/// # Source
/// Terms and days as in [`crate::dates`]; the order of payers is common practice, no source; worked cases in
/// worked/coverage-decisions.json.
pub fn decide(
    case: &Case,
    lines: &[Line],
    registrations: &[Registration],
) -> Result<Decision, CoverageRefusal> {
    if let Some(line) = lines.iter().position(|line| line.amount.is_negative()) {
        return Err(CoverageRefusal::NegativeLine { line });
    }
    let mut order: Vec<usize> = (0..registrations.len()).collect();
    order.sort_by_key(|place| registrations.get(*place).map(|held| held.programme.rank));
    let mut steps: Vec<Step> = also_found(case).into_iter().collect();
    let mut looks = Vec::new();
    for place in order {
        if let Some(registration) = registrations.get(place)
            && let Some(mut look) = look(case, place, registration, &mut steps)?
        {
            look.measure(&registration.programme, lines);
            looks.push(look);
        }
    }
    let groups = groups(case, registrations, &looks);
    let count = groups.last().map_or(0, |last| last + 1);
    if count > PROGRAMMES_MAX {
        return Err(CoverageRefusal::TooManyProgrammes { count });
    }
    let sure = split(lines, registrations, (&looks, &groups), Counts::Sure)?;
    let mut settled = split(lines, registrations, (&looks, &groups), Counts::Settled)?;
    if sure.customer()? < settled.customer()? {
        // What is known today already serves the customer better than what may turn up.
        settled = sure.clone();
    }
    let mut answers = vec![Answer::DoesNotPay; registrations.len()];
    let payments = settled.payments.iter().zip(&sure.payments);
    for (look, (payment, today)) in looks.iter().zip(payments) {
        tell(look, payment.as_ref(), &mut steps);
        if let Some(answer) = answers.get_mut(look.place) {
            *answer = answer_of(look, payment.as_ref(), today.as_ref());
        }
    }
    let customer = settled.customer()?;
    let customer_at_most = sure.customer()?;
    steps.push(Step::of_all(Reason::CustomerOwes { amount: customer }));
    if customer_at_most != customer {
        let amount = customer_at_most;
        steps.push(Step::of_all(Reason::CustomerOwesAtMost { amount }));
    }
    Ok(Decision {
        lines: splits(&settled, &looks),
        customer,
        sure_lines: splits(&sure, &looks),
        customer_at_most,
        answers,
        steps,
    })
}

/// What a programme answers, by what it pays once all is settled and what it pays today.
fn answer_of(look: &Look, settled: Option<&Payment>, today: Option<&Payment>) -> Answer {
    let paid = |payment: Option<&Payment>| {
        let amounts = payment.map(|payment| (payment.of_lines.clone(), payment.of_shop.clone()));
        amounts.filter(|(payer, shop)| payer.iter().chain(shop).any(|cents| *cents > Cents::ZERO))
    };
    match (paid(settled), paid(today)) {
        (None, _) => Answer::NotAsked,
        (Some(settled), Some(today)) if settled == today => Answer::Pays,
        (Some(_), _) if look.lacks().is_empty() => Answer::Pays,
        (Some(_), _) => Answer::PaysOnce(look.lacks()),
    }
}

/// That more than one component was found to have failed.
fn also_found(case: &Case) -> Option<Step> {
    let finding = case.finding.as_ref()?;
    let also = case.also_found.iter();
    let others: Vec<String> = also.map(|found| found.component.clone()).collect();
    (!others.is_empty()).then(|| {
        Step::of_all(Reason::AlsoFound {
            component: finding.component.clone(),
            others,
            is_named: case.is_finding_named,
        })
    })
}

/// Which looks are asked together: each by itself, but where there would be too many and nothing is found yet, the shop's
/// own promises on components are one.
fn groups(case: &Case, registrations: &[Registration], looks: &[Look]) -> Vec<usize> {
    let is_promise = |look: &Look| {
        let held = registrations.get(look.place);
        held.is_some_and(|held| {
            held.programme.rank == Rank::Workmanship && held.component.is_some()
        })
    };
    let as_one = case.finding.is_none() && looks.len() > PROGRAMMES_MAX;
    let mut groups = Vec::with_capacity(looks.len());
    let mut next = 0;
    let mut after_promise = false;
    for look in looks {
        let joins = as_one && is_promise(look);
        if joins && after_promise {
            groups.push(next - 1);
            continue;
        }
        after_promise = joins;
        groups.push(next);
        next += 1;
    }
    groups
}

/// What counts in a split.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Counts {
    /// What is sure today.
    Sure,
    /// What is expected once all that is missing is there.
    Settled,
}

/// The stack over the looks; one without a segment that counts pays nothing.
fn split(
    lines: &[Line],
    registrations: &[Registration],
    (looks, groups): (&[Look], &[usize]),
    counts: Counts,
) -> Result<Stacked, CoverageRefusal> {
    let asked: Vec<Asked> = (looks.iter().zip(groups))
        .filter_map(|(look, together)| {
            let registration = registrations.get(look.place)?;
            Some(Asked {
                programme: &registration.programme,
                segments: look.segments(counts == Counts::Sure),
                together: *together,
                same: registration.same_as.unwrap_or(look.place),
            })
        })
        .collect();
    let unmeasured = match counts {
        Counts::Sure => Unmeasured::IsNotPaid,
        Counts::Settled => Unmeasured::CountsInFull,
    };
    stacked(&asked, lines, unmeasured)
}

fn splits(stacked: &Stacked, looks: &[Look]) -> Vec<LineSplit> {
    (stacked.left.iter().enumerate())
        .map(|(line, customer)| LineSplit {
            portions: (looks.iter().zip(&stacked.payments))
                .flat_map(|(look, payment)| {
                    let of = move |by: PaidBy| {
                        let payment = payment.as_ref()?;
                        let amount = match by {
                            PaidBy::Payer => payment.of_lines.get(line)?,
                            PaidBy::Shop => payment.of_shop.get(line)?,
                        };
                        (*amount > Cents::ZERO).then_some(Portion {
                            registration: look.place,
                            amount: *amount,
                            by,
                        })
                    };
                    [PaidBy::Payer, PaidBy::Shop].into_iter().filter_map(of)
                })
                .collect(),
            customer: *customer,
        })
        .collect()
}

/// What a programme pays, into the trace.
fn tell(look: &Look, payment: Option<&Payment>, steps: &mut Vec<Step>) {
    let place = look.place;
    let Some(payment) = payment else {
        steps.push(Step::of(place, Reason::LeftAside));
        return;
    };
    for bound in &payment.bounds {
        steps.push(match *bound {
            Bound::Rate { line, allowed } => Step::on(place, line, Reason::ByRate { allowed }),
            Bound::HoursUnknown { line } => Step::on(place, line, Reason::HoursUnknown),
            Bound::DistanceUnknown { line } => Step::on(place, line, Reason::DistanceUnknown),
            Bound::Percent { line, percent } => {
                Step::on(place, line, Reason::PaysPercent { percent })
            }
            Bound::FlatLabour { amount } => Step::of(place, Reason::FlatLabour { amount }),
            Bound::AtMost { amount } => Step::of(place, Reason::AtMost { amount }),
            Bound::Deductible { amount } => Step::of(place, Reason::Deductible { amount }),
        });
    }
    let mut is_paid = payment.of_shop.iter().any(|amount| *amount > Cents::ZERO);
    for (line, amount) in payment.of_lines.iter().enumerate() {
        if *amount > Cents::ZERO {
            is_paid = true;
            let amount = *amount;
            steps.push(Step::on(place, line, Reason::Pays { amount }));
        }
    }
    if !is_paid {
        steps.push(Step::of(place, Reason::NothingToPay));
    }
    for (line, amount) in payment.of_shop.iter().enumerate() {
        if *amount > Cents::ZERO {
            let amount = *amount;
            steps.push(Step::on(place, line, Reason::ShopBears { amount }));
        }
    }
}
