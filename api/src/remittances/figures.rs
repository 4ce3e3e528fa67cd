//! Figures of payers over the claims submitted within some days, as they stand today.

use std::collections::{BTreeSet, HashMap};

use chrono::NaiveDate;
use nameplate_entities::kinds::{ClaimStep, CoverageSplit};
use nameplate_entities::warranty_payer;
use nameplate_rules::claims::{ClaimStory, PayerFigures, PayersAnswer, payer_figures as add_up};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use super::store::figures::{ClaimRow, Found, Wanted, found};
use crate::base::{Checks, Error, ProblemCode, Result};
use crate::coverage::{Kept, PortionOf};
use crate::{claims, coverage, warranty};

/// Most days that are added up at a time.
const DAYS_MAX: i64 = 1_100;

/// Which payers and days.
#[derive(Clone, Copy, Debug)]
pub struct Asked {
    /// All of them when left out.
    pub payer_id: Option<i64>,
    /// The first and the last day on which the claims were submitted.
    pub from: NaiveDate,
    pub through: NaiveDate,
    pub today: NaiveDate,
}

/// A payer and its figures.
pub struct OfPayer {
    pub payer: warranty_payer::Model,
    pub figures: PayerFigures,
}

/// How payers treated the shop's claims, who was claimed most from first.
///
/// # Errors
/// `ImpossibleDate` at `through` for days in the wrong order, or more than three years.
pub async fn payer_figures(db: &impl ConnectionTrait, asked: Asked) -> Result<Vec<OfPayer>> {
    let mut checks = Checks::new();
    let days = (asked.through - asked.from).num_days();
    if !(0..DAYS_MAX).contains(&days) {
        let message = format!("Give a first and a last day, at most {DAYS_MAX} days.");
        checks.refuse(ProblemCode::ImpossibleDate, "through", message);
    }
    checks.finish()?;
    let wanted = Wanted {
        payer_id: asked.payer_id,
        from: asked.from,
        through: asked.through,
    };
    let stories = stories(found(db, wanted).await?)?;
    let mut by_payer: HashMap<i64, Vec<ClaimStory>> = HashMap::new();
    for (payer_id, story) in stories {
        by_payer.entry(payer_id).or_default().push(story);
    }
    let ids: Vec<i64> = by_payer.keys().copied().collect();
    let payers = warranty::payers_by_ids(db, &ids).await?;
    let mut all = Vec::with_capacity(payers.len());
    for payer in payers {
        let stories = by_payer.remove(&payer.id).unwrap_or_default();
        let figures = add_up(&stories, asked.today);
        let figures = figures.map_err(|refusal| Error::caused("figures of a payer", refusal))?;
        all.push(OfPayer { payer, figures });
    }
    all.sort_by_key(|of| (-of.figures.claimed.0, of.payer.id));
    Ok(all)
}

/// What became of each claim, with its payer.
fn stories(found: Found) -> Result<Vec<(i64, ClaimStory)>> {
    let mut paid: HashMap<i64, Settlement> = HashMap::new();
    let claimed: HashMap<i64, i64> = (found.claimed.iter())
        .map(|claim| (claim.id, claim.claimed_cents))
        .collect();
    for part in &found.settled {
        let whole = claimed.get(&part.claim_id).copied().unwrap_or_default();
        let so_far = paid.entry(part.claim_id).or_default();
        if !part.is_money {
            so_far.written_down = sum([so_far.written_down, Cents(part.amount_cents)])?;
            continue;
        }
        let was_full = so_far.paid.0 >= whole;
        so_far.paid = sum([so_far.paid, Cents(part.amount_cents)])?;
        let is_full = so_far.paid.0 >= whole;
        so_far.in_full_on = match (was_full, is_full) {
            (_, false) => None,
            (true, true) => so_far.in_full_on,
            (false, true) => Some(part.applied_on),
        };
    }
    // A later answer stands in the place of an earlier one, and so does a later reason.
    let answers: HashMap<i64, PayersAnswer> = (found.answers.into_iter())
        .map(|answer| (answer.claim_id, answered(answer.step)))
        .collect();
    let reasons: HashMap<i64, String> = (found.reasons.into_iter())
        .map(|reason| (reason.claim_id, reason.reason_code))
        .collect();
    let mut kept: HashMap<i64, Kept> = HashMap::new();
    for decision in &found.decisions {
        kept.insert(decision.id, coverage::kept(decision)?);
    }
    let mut normal: HashMap<i64, Cents> = HashMap::new();
    for claim in &found.claimed {
        if let Some(kept) = kept.get(&claim.decision_id) {
            normal.insert(claim.id, normal_price(claim, kept)?);
        }
    }
    Ok((found.claimed.into_iter())
        .map(|claim| {
            let paid = paid.remove(&claim.id).unwrap_or_default();
            let story = ClaimStory {
                state: claims::to_rule(claim.state),
                answered: answers.get(&claim.id).copied().unwrap_or_default(),
                submitted_on: claim.submitted_on,
                due_on: claim.due_on,
                claimed: Cents(claim.claimed_cents),
                paid: paid.paid,
                written_down: paid.written_down,
                claimed_net: Cents(claim.net_cents),
                normal: normal.remove(&claim.id).unwrap_or_default(),
                // Money may come in before the claim goes out.
                paid_in_full_on: paid.in_full_on.map(|day| day.max(claim.submitted_on)),
                reason: reasons.get(&claim.id).cloned(),
            };
            (claim.payer_id, story)
        })
        .collect())
}

const fn answered(step: ClaimStep) -> PayersAnswer {
    match step {
        ClaimStep::Approve => PayersAnswer::InFull,
        ClaimStep::ApprovePart => PayersAnswer::InPart,
        ClaimStep::Deny => PayersAnswer::Denied,
        _ => PayersAnswer::Waiting,
    }
}

#[derive(Default)]
struct Settlement {
    paid: Cents,
    written_down: Cents,
    in_full_on: Option<NaiveDate>,
}

/// The shop's price of the lines that a claim's programme pays anything of, less what others pay of them: by the split of
/// its decision that was billed, else by the settled one.
fn normal_price(claim: &ClaimRow, kept: &Kept) -> Result<Cents> {
    let portions = kept.portions(claim.coverage_split.unwrap_or(CoverageSplit::Settled));
    let is_own = |portion: &&PortionOf| {
        portion.payer_id == Some(claim.payer_id) && portion.terms_id == Some(claim.terms_id)
    };
    let mut price = Cents::ZERO;
    let own = portions.iter().filter(is_own);
    // Two registrations of one programme may pay of one line, which is counted once.
    let paid: BTreeSet<usize> = (own.filter(|own| own.amount > Cents::ZERO))
        .map(|own| own.line)
        .collect();
    for place in paid {
        let line = kept.lines.get(place);
        let line = line.ok_or_else(|| Error::internal("a portion of a line that is not there"))?;
        // What the shop bears in place of the programme is of the price that the programme covers.
        let is_others = |portion: &&PortionOf| {
            let is_shops = portion.payer_id.is_none() && portion.terms_id == Some(claim.terms_id);
            !is_own(portion) && !is_shops
        };
        let others = portions
            .iter()
            .filter(|portion| portion.line == place)
            .filter(is_others)
            .map(|portion| portion.amount);
        let rest = line.amount.checked_sub(Cents::sum(others).map_err(fault)?);
        price = sum([price, rest.ok_or_else(too_large)?])?;
    }
    Ok(price)
}

fn sum(amounts: [Cents; 2]) -> Result<Cents> {
    Cents::sum(amounts).map_err(fault)
}

fn fault(refusal: nameplate_rules::money::MoneyRefusal) -> Error {
    Error::caused("figures of a payer", refusal)
}

fn too_large() -> Error {
    Error::internal("figures of a payer are too large")
}
