//! One call billed by the decision that stands on it: each warranty payer's programme an invoice of its own, the rest to
//! the call's customer; what the shop bears itself is billed to nobody.
//!
//! What stays true: the invoices and the shop's part add up to the sale, to the cent and by tax level. The shop's part is
//! no sale: neither revenue nor tax is posted for it. A payer's invoice is told by its claim, so it is not mailed here.

use std::collections::BTreeMap;

use nameplate_entities::kinds::CoverageSplit;
use nameplate_entities::{customer, invoice, invoice_division, warranty_payer};
use nameplate_rules::coverage::{Answer, settles};
use nameplate_rules::invoice::division::{PayerPart, Portion, Taking, divide};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::{Act, Checks, Error, ProblemCode, Result};
use crate::coverage::{self, Kept, PortionOf};
use crate::invoices::store::Billed;
use crate::{customers, warranty};

use super::dividing::{self, Share};
use super::sale::{self, Claimed, Sale};
use super::shares::{self, Part, Whole};
use super::writing::Issue;

/// The decision a call is billed by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct ByCoverage {
    pub decision_id: i64,
    /// Which of its two splits; needed while something is missing.
    pub split: Option<CoverageSplit>,
}

/// Holds the order against what can be said without the sale.
pub fn check(checks: &mut Checks, (by, divide): (Option<&ByCoverage>, &[Share])) {
    if by.is_some() && !divide.is_empty() {
        let message = "The decision says who pays what. Leave out other payers, or bill without the decision.";
        checks.refuse(ProblemCode::Malformed, "coverage", message);
    }
}

/// Bills a sale as it was decided; the customer's own invoice is the first, if there is one.
///
/// # Errors
/// `NotFound` at `coverage.decisionId`; `WrongState` there for a decision that does not stand, is of another call, was made
/// for another option or for other amounts, or leaves nothing to bill; `Missing` at `coverage.split` for one that waits for
/// something; `PeriodClosed`.
pub async fn bill(
    tx: &impl ConnectionTrait,
    act: &Act,
    issue: &Issue<'_>,
    (sale, billed): (Sale, &Billed),
    (option_id, by): (Option<i64>, &ByCoverage),
) -> Result<Vec<invoice::Model>> {
    let kept = decided(tx, billed, (option_id, by)).await?;
    must_be_of(&sale, &kept)?;
    let split = split_of(&kept, by.split)?;
    let portions = kept.portions(split);
    let who = Who::of(&portions);
    if who.payers.is_empty() && !who.shop_bears {
        return Ok(vec![
            sale::bill(tx, act, issue, (sale, &billed.customer)).await?,
        ]);
    }
    let (parts, shop) = who.parts(tx, &sale, &portions).await?;
    if parts.iter().all(|part| part.lines.is_empty()) {
        return Err(refused(format!(
            "The shop bears all of call {}, so there is nothing to bill.",
            billed.call.number
        )));
    }
    let of = Divided {
        by: (by.decision_id, split),
        shop: shop.as_ref(),
    };
    let division = of.write(tx, act, (&sale, billed.call.id)).await?;
    let payers = who.claimed(tx).await?;
    let shares = (parts, payers.as_slice());
    bill_parts(tx, act, issue, (&sale, billed), (&division, &kept), shares).await
}

/// One invoice for each who pays anything: the customer, then the payers.
async fn bill_parts(
    tx: &impl ConnectionTrait,
    act: &Act,
    issue: &Issue<'_>,
    (sale, billed): (&Sale, &Billed),
    (division, kept): (&invoice_division::Model, &Kept),
    (parts, payers): (
        Vec<PayerPart>,
        &[(warranty_payer::Model, customer::Model, i64)],
    ),
) -> Result<Vec<invoice::Model>> {
    let consents = shares::consents_for_others(tx, issue.settings, (sale, billed)).await?;
    let lines = sale.rows.lines.iter();
    let says: Vec<String> = lines.map(|line| line.description.clone()).collect();
    let whole = Whole {
        payers: parts.iter().filter(|part| !part.lines.is_empty()).count(),
        total: Cents(division.total_cents),
        shop: Cents(division.shop_cents),
    };
    let who = std::iter::once(None).chain(payers.iter().map(Some));
    let mut invoices = Vec::with_capacity(whole.payers);
    for (part, claimed) in parts.iter().zip(who) {
        if part.lines.is_empty() {
            continue;
        }
        let of = Part {
            settings: issue.settings,
            billed,
            payer: claimed.map_or(&billed.customer, |(_, customer, _)| customer),
            falls_to: part,
            counted: kept.counted(&says, |held| match claimed {
                None => held.payer_id.is_some(),
                Some((_, _, terms_id)) => held.terms_id == Some(*terms_id),
            }),
        };
        let share = Sale {
            header: invoice::ActiveModel {
                division_id: Set(Some(division.id)),
                ..sale.header.clone()
            },
            rows: of.rows(sale)?,
            words: of.words(&sale.words, &consents, &whole),
        };
        invoices.push(match claimed {
            None => sale::bill(tx, act, issue, (share, &billed.customer)).await?,
            Some((payer, customer, terms_id)) => {
                let claimed = Claimed {
                    payer,
                    customer,
                    terms_id: *terms_id,
                };
                sale::claim(tx, act, issue, (share, claimed)).await?
            }
        });
    }
    Ok(invoices)
}

/// The decision, once it is known to stand on this call and to be about what is billed.
async fn decided(
    tx: &impl ConnectionTrait,
    billed: &Billed,
    (option_id, by): (Option<i64>, &ByCoverage),
) -> Result<Kept> {
    let decision = coverage::get_decision(tx, "coverage.decisionId", by.decision_id).await?;
    let number = &billed.call.number;
    if decision.call_id != billed.call.id {
        return Err(refused(format!(
            "This decision is about another call than {number}."
        )));
    }
    if decision.standing_call_id != Some(billed.call.id) {
        return Err(refused(format!(
            "A later decision on call {number} stands in the place of this one. Bill by that."
        )));
    }
    // Lines typed for work done are of no option; they cost what was decided on, or are refused below.
    if option_id.is_some() && decision.estimate_option_id != option_id {
        return Err(refused(
            "This decision was made for another option than the one billed. Decide anew on that."
                .to_owned(),
        ));
    }
    coverage::kept(&decision)
}

/// The lines billed cost what they did when it was decided.
fn must_be_of(sale: &Sale, kept: &Kept) -> Result<()> {
    let billed = sale
        .rows
        .lines
        .iter()
        .map(|line| Cents(line.net_cents).checked_sub(Cents(line.discount_cents)));
    let decided = kept.lines.iter().map(|line| Some(line.amount));
    if billed.eq(decided) {
        return Ok(());
    }
    Err(refused(
        "The lines are not those that were decided on. Decide anew on what is billed, or bill what was decided on."
            .to_owned(),
    ))
}

/// The split asked for; while something is missing, nobody guesses which.
fn split_of(kept: &Kept, asked: Option<CoverageSplit>) -> Result<CoverageSplit> {
    if let Some(split) = asked {
        return Ok(split);
    }
    let decision = &kept.decision;
    if decision.lines == decision.sure_lines {
        return Ok(CoverageSplit::Settled);
    }
    let answers = kept.holdings.iter().zip(&decision.answers);
    let waits: Vec<String> = answers
        .filter_map(|(holding, answer)| {
            let Answer::PaysOnce(missing) = answer else {
                return None;
            };
            let missing: Vec<String> = missing.iter().map(|missing| settles(*missing)).collect();
            let name = &holding.registration.programme.name;
            Some(format!("{name}: {}", missing.join(", ")))
        })
        .collect();
    Err(Error::refused(
        ProblemCode::Missing,
        "coverage.split",
        format!(
            "This decision waits for something ({}). Say whether what is sure today is billed, or the split once it is \
             settled.",
            waits.join("; ")
        ),
    ))
}

/// Who pays anything beside the call's customer.
struct Who {
    /// Payer and programme, with the terms: one invoice each, in the order in which they were weighed.
    payers: Vec<(i64, i64, i64)>,
    shop_bears: bool,
}

impl Who {
    fn of(portions: &[PortionOf]) -> Self {
        let mut who = Self {
            payers: Vec::new(),
            shop_bears: false,
        };
        let mut as_weighed: Vec<&PortionOf> = portions.iter().collect();
        as_weighed.sort_by_key(|portion| portion.holding);
        for portion in as_weighed {
            match (portion.payer_id, portion.programme_id, portion.terms_id) {
                (Some(payer), Some(programme), Some(terms)) => {
                    if who.place_of(portion).is_none() {
                        who.payers.push((payer, programme, terms));
                    }
                }
                _ => who.shop_bears = true,
            }
        }
        who
    }

    /// Place among the takers of whoever pays this, from 1; none for the shop.
    fn place_of(&self, portion: &PortionOf) -> Option<usize> {
        let same = |(payer, programme, _): &(i64, i64, i64)| {
            (Some(*payer), Some(*programme)) == (portion.payer_id, portion.programme_id)
        };
        self.payers.iter().position(same).map(|at| at + 1)
    }

    /// What falls to the customer and to each payer, and to the shop.
    async fn parts(
        &self,
        tx: &impl ConnectionTrait,
        sale: &Sale,
        portions: &[PortionOf],
    ) -> Result<(Vec<PayerPart>, Option<PayerPart>)> {
        let shop = self.payers.len() + 1;
        let mut amounts: BTreeMap<(usize, usize), Cents> = BTreeMap::new();
        for portion in portions {
            let payer = self.place_of(portion).unwrap_or(shop);
            let sum = amounts.entry((payer, portion.line)).or_insert(Cents::ZERO);
            *sum = (sum.checked_add(portion.amount))
                .ok_or_else(|| Error::internal("portions that are too large"))?;
        }
        let takings: Vec<Taking> = (amounts.into_iter())
            .map(|((payer, line), amount)| Taking {
                payer,
                line,
                portion: Portion::Amount(amount),
            })
            .collect();
        let lines = dividing::lines(sale);
        let levels = dividing::levels(tx, &sale.rows.taxes).await?;
        let count = shop + usize::from(self.shop_bears);
        let mut parts = divide(&lines, &levels, (count, &takings)).map_err(|refusal| {
            refused(format!("The call cannot be billed as decided: {refusal}."))
        })?;
        let shop = if self.shop_bears { parts.pop() } else { None };
        Ok((parts, shop))
    }

    /// The payers on record, each with its customer and terms.
    async fn claimed(
        &self,
        tx: &impl ConnectionTrait,
    ) -> Result<Vec<(warranty_payer::Model, customer::Model, i64)>> {
        let mut claimed = Vec::with_capacity(self.payers.len());
        for (payer_id, _, terms_id) in &self.payers {
            let payer = warranty::get_payer(tx, "coverage.decisionId", *payer_id).await?;
            let customer =
                customers::get_customer(tx, "coverage.decisionId", payer.customer_id).await?;
            claimed.push((payer, customer, *terms_id));
        }
        Ok(claimed)
    }
}

/// How a sale was divided by a decision.
struct Divided<'a> {
    by: (i64, CoverageSplit),
    shop: Option<&'a PayerPart>,
}

impl Divided<'_> {
    async fn write(
        &self,
        tx: &impl ConnectionTrait,
        act: &Act,
        about: (&Sale, i64),
    ) -> Result<invoice_division::Model> {
        let sum = |of: fn(&nameplate_rules::invoice::credit::LineAmounts) -> Cents| {
            let lines = self.shop.iter().flat_map(|part| &part.lines);
            Cents::sum(lines.map(|line| of(&line.amounts)))
                .map_err(|refusal| Error::caused("what the shop bears", refusal))
        };
        let total = self.shop.map_or(Ok(Cents::ZERO), PayerPart::total);
        let total = total.map_err(|refusal| Error::caused("what the shop bears", refusal))?;
        let (decision_id, split) = self.by;
        let kept = invoice_division::ActiveModel {
            coverage_decision_id: Set(Some(decision_id)),
            coverage_split: Set(Some(split)),
            shop_cents: Set(total.0),
            shop_net_cents: Set(sum(|amounts| amounts.net)?.0),
            shop_discount_cents: Set(sum(|amounts| amounts.discount)?.0),
            shop_tax_cents: Set(sum(|amounts| amounts.tax)?.0),
            ..Default::default()
        };
        dividing::write(tx, act, about, kept).await
    }
}

fn refused(message: String) -> Error {
    Error::refused(ProblemCode::WrongState, "coverage.decisionId", message)
}
