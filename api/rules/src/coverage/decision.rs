//! The decision: each line of a repair split over the programmes and the customer, with the reasons.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::programme::{Covers, Evidence, Exclusion, Rank, Registration, Segment};
use super::stack::{Asked, Bound, Payment, Stacked, stacked};
use super::window::{Repaired, Standing, standing};
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

/// A repair done before on the same machine.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct EarlierRepair {
    pub component: String,
    pub failure: String,
    pub failed_on: NaiveDate,
    pub completed_on: NaiveDate,
}

/// What is known of the failure.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Case {
    /// The day the customer told of it.
    pub failed_on: NaiveDate,
    /// None before the visit.
    pub finding: Option<Finding>,
    /// What is known to be so.
    #[serde(default)]
    pub circumstances: BTreeSet<Exclusion>,
    /// What was asked and is not settled yet.
    #[serde(default)]
    pub unsettled: BTreeSet<Exclusion>,
    /// The evidence at hand.
    #[serde(default)]
    pub evidence: BTreeSet<Evidence>,
    #[serde(default)]
    pub repairs: Vec<EarlierRepair>,
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
    /// It would pay, but asking it would leave the customer worse off, or nothing was left to pay.
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

/// What a programme would do, before any money is counted.
pub(super) struct Look<'a> {
    /// Place in what was given.
    place: usize,
    /// The segments that are in force, or would be once this is known.
    segments: Vec<(&'a Segment, Option<Missing>)>,
    /// What the whole programme waits for.
    missing: Vec<Missing>,
}

impl<'a> Look<'a> {
    /// The segments that pay once everything is settled, or those that pay today.
    fn segments(&self, only_sure: bool) -> Vec<&'a Segment> {
        let counts =
            |lacks: &Option<Missing>| !only_sure || (lacks.is_none() && self.missing.is_empty());
        (self.segments.iter())
            .filter(|(_, lacks)| counts(lacks))
            .map(|(segment, _)| *segment)
            .collect()
    }

    pub(super) fn lacks(&self) -> Vec<Missing> {
        let of_segments = self.segments.iter().filter_map(|(_, lacks)| *lacks);
        let mut lacks: Vec<Missing> = self.missing.iter().copied().chain(of_segments).collect();
        lacks.sort_unstable();
        lacks.dedup();
        lacks
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
    let mut steps = Vec::new();
    let mut looks = Vec::new();
    for place in order {
        if let Some(registration) = registrations.get(place) {
            looks.extend(look(case, place, registration, &mut steps)?);
        }
    }
    let groups = groups(case, registrations, &looks);
    let count = groups.last().map_or(0, |last| last + 1);
    if count > PROGRAMMES_MAX {
        return Err(CoverageRefusal::TooManyProgrammes { count });
    }
    let settled = split(lines, registrations, (&looks, &groups), false)?;
    let sure = split(lines, registrations, (&looks, &groups), true)?;
    let mut answers = vec![Answer::DoesNotPay; registrations.len()];
    let payments = settled.payments.iter().zip(&sure.payments);
    for (look, (payment, today)) in looks.iter().zip(payments) {
        tell(look, payment.as_ref(), &mut steps);
        if let Some(answer) = answers.get_mut(look.place) {
            *answer = answer_of(look, payment.as_ref(), today.as_ref());
        }
    }
    let customer = Cents::sum(settled.left.iter().copied())?;
    let customer_at_most = Cents::sum(sure.left.iter().copied())?;
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
        let of_lines = payment.map(|payment| payment.of_lines.clone());
        of_lines.filter(|lines| lines.iter().any(|amount| *amount > Cents::ZERO))
    };
    match (paid(settled), paid(today)) {
        (None, _) => Answer::NotAsked,
        (Some(settled), Some(today)) if settled == today => Answer::Pays,
        (Some(_), _) if look.lacks().is_empty() => Answer::Pays,
        (Some(_), _) => Answer::PaysOnce(look.lacks()),
    }
}

/// Whether a programme is asked at all; the reasons go into the trace.
pub(super) fn look<'a>(
    case: &Case,
    place: usize,
    registration: &'a Registration,
    steps: &mut Vec<Step>,
) -> Result<Option<Look<'a>>, CoverageRefusal> {
    let programme = &registration.programme;
    let mut say = |reason| steps.push(Step::of(place, reason));
    let excluded = programme
        .exclusions
        .intersection(&case.circumstances)
        .next();
    if let Some(exclusion) = excluded.copied() {
        say(Reason::Excluded { exclusion });
        return Ok(None);
    }
    let mut missing = Vec::new();
    match (&registration.component, &case.finding) {
        (Some(component), Some(finding)) if *component != finding.component => {
            let component = component.clone();
            say(Reason::OtherComponent { component });
            return Ok(None);
        }
        (Some(_), None) => missing.push(Missing::Finding),
        _ => {}
    }
    let segments = segments_asked(case, registration, &mut say)?;
    if segments.is_empty() {
        return Ok(None);
    }
    let papers = programme.evidence.difference(&case.evidence);
    missing.extend(papers.map(|evidence| Missing::Evidence {
        evidence: *evidence,
    }));
    let questions = programme.exclusions.intersection(&case.unsettled);
    missing.extend(questions.map(|exclusion| Missing::Answer {
        exclusion: *exclusion,
    }));
    let look = Look {
        place,
        segments,
        missing,
    };
    for missing in look.lacks() {
        say(Reason::Lacks { missing });
    }
    Ok(Some(look))
}

/// The segments of a programme that are in force, or would be once something is known; the reasons go into the trace.
fn segments_asked<'a>(
    case: &Case,
    registration: &'a Registration,
    say: &mut impl FnMut(Reason),
) -> Result<Vec<(&'a Segment, Option<Missing>)>, CoverageRefusal> {
    let repaired = repaired(case);
    let mut segments = Vec::new();
    for (index, segment) in registration.programme.segments.iter().enumerate() {
        let mut lacks = None;
        match (&segment.component_class, &case.finding) {
            (Some(class), Some(finding)) if finding.component_class.as_ref() != Some(class) => {
                say(Reason::OtherClass { segment: index });
                continue;
            }
            (Some(_), None) => lacks = Some(Missing::Finding),
            _ => {}
        }
        match standing(segment, registration, case.failed_on, &repaired)? {
            Standing::InForce { held } => say(Reason::InForce {
                segment: index,
                held,
            }),
            Standing::StartUnknown => {
                let event = segment.start;
                say(Reason::StartUnknown { segment: index });
                lacks = Some(Missing::Start { event });
            }
            over => {
                say(Reason::NotInForce {
                    segment: index,
                    standing: over,
                });
                continue;
            }
        }
        segments.push((segment, lacks));
    }
    Ok(segments)
}

/// Earlier repairs of the failure at hand.
fn repaired(case: &Case) -> Vec<Repaired> {
    let Some(finding) = &case.finding else {
        return Vec::new();
    };
    (case.repairs.iter())
        .filter(|repair| repair.component == finding.component && repair.failure == finding.failure)
        .map(|repair| (repair.failed_on, repair.completed_on))
        .collect()
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

/// The stack over the looks; one without a segment that counts pays nothing.
fn split(
    lines: &[Line],
    registrations: &[Registration],
    (looks, groups): (&[Look], &[usize]),
    only_sure: bool,
) -> Result<Stacked, CoverageRefusal> {
    let asked: Vec<Asked> = (looks.iter().zip(groups))
        .filter_map(|(look, together)| {
            Some(Asked {
                programme: &registrations.get(look.place)?.programme,
                segments: look.segments(only_sure),
                together: *together,
            })
        })
        .collect();
    stacked(&asked, lines)
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
            Bound::Percent { line, segment } => {
                let percent = look
                    .segments
                    .get(segment)
                    .map(|(chosen, _)| chosen.pays.percent);
                let Some(percent) = percent else { continue };
                Step::on(place, line, Reason::PaysPercent { percent })
            }
            Bound::FlatLabour { amount } => Step::of(place, Reason::FlatLabour { amount }),
            Bound::AtMost { amount } => Step::of(place, Reason::AtMost { amount }),
            Bound::Deductible { amount } => Step::of(place, Reason::Deductible { amount }),
        });
    }
    let mut is_paid = false;
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
