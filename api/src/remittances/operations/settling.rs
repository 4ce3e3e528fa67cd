//! Rows of an advice settled: what each lays against the invoice of its claim, and the steps its claim takes.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::AdviceOutcome;
use nameplate_entities::{advice_row, claim, payer_advice};
use nameplate_rules::claims::{ClaimStep, OUTCOME_RELEASE, Settlement, outcome_codes};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use super::super::store;
use super::{Standing, line_of};
use crate::base::{Act, Error, ProblemCode, Result};
use crate::claims::{self, Taken, TakenBy};
use crate::invoices::PaymentPart;

/// In place of a release, where the code is of no list that is known.
const OWN_CODES: &str = "payer";

/// A row, its claim, and what it makes of it.
pub struct Planned {
    row: advice_row::Model,
    claim_id: i64,
    /// None where it changes nothing.
    settlement: Option<Settlement>,
    /// At most what is open, and what is paid.
    laid: Cents,
}

/// Rows and their claims, before anything is written.
pub struct Plan {
    rows: Vec<Planned>,
    claims: HashMap<i64, claim::Model>,
    /// The earliest day of each claim's next step.
    not_before: HashMap<i64, NaiveDate>,
}

impl Plan {
    /// What these matched rows make of their claims, one after another.
    ///
    /// # Errors
    /// `WrongState` at `path` for a claim that was not submitted, or is closed.
    pub async fn of(
        tx: &impl ConnectionTrait,
        path: &str,
        rows: Vec<advice_row::Model>,
    ) -> Result<Self> {
        let mut ids: Vec<i64> = rows.iter().filter_map(|row| row.claim_id).collect();
        ids.sort_unstable();
        ids.dedup();
        let claims = store::claims_by_ids(tx, &ids).await?;
        let all: Vec<claim::Model> = claims.values().cloned().collect();
        let mut standings = Standing::of(tx, &all).await?;
        let mut planned = Vec::with_capacity(rows.len());
        for row in rows {
            let Some(claim_id) = row.claim_id else {
                continue;
            };
            let claim = of_id(&claims, claim_id)?;
            check_takes_money(path, claim, &row)?;
            let standing = (standings.get_mut(&claim_id))
                .ok_or_else(|| Error::internal("a claim without its balance"))?;
            planned.push(plan(row, claim_id, standing)?);
        }
        Ok(Self {
            not_before: store::last_steps_on(tx, &ids).await?,
            rows: planned,
            claims,
        })
    }

    /// What is laid against which invoice; rows of one claim are added up.
    ///
    /// # Errors
    /// Internal, for a sum that does not fit.
    pub fn parts(&self) -> Result<Vec<PaymentPart>> {
        let mut parts: Vec<PaymentPart> = Vec::new();
        for planned in self.rows.iter().filter(|row| row.laid > Cents::ZERO) {
            let invoice_id = of_id(&self.claims, planned.claim_id)?.invoice_id;
            match parts.iter_mut().find(|part| part.invoice_id == invoice_id) {
                Some(part) => part.amount = sum([part.amount, planned.laid])?,
                None => parts.push(PaymentPart {
                    invoice_id,
                    amount: planned.laid,
                }),
            }
        }
        Ok(parts)
    }

    /// Writes what became of each row, and moves its claim on. Gives the rows as they are then.
    ///
    /// # Errors
    /// `WrongState` where the life of a claim has no such step.
    pub async fn settle(
        mut self,
        tx: &impl ConnectionTrait,
        act: &Act,
        (verb, on): (&'static str, NaiveDate),
        advice: &payer_advice::Model,
    ) -> Result<Vec<advice_row::Model>> {
        let mut settled = Vec::with_capacity(self.rows.len());
        for planned in std::mem::take(&mut self.rows) {
            let mut claim = of_id(&self.claims, planned.claim_id)?.clone();
            let earliest = self.not_before.get(&planned.claim_id);
            let day = earliest.map_or(on, |earliest| on.max(*earliest));
            for taken in planned.steps(&claim, advice, day)? {
                claim = claims::take_step(tx, act, (verb, &claim), taken).await?;
            }
            self.claims.insert(claim.id, claim);
            settled.push(planned.write(tx, act).await?);
        }
        Ok(settled)
    }
}

fn of_id(claims: &HashMap<i64, claim::Model>, id: i64) -> Result<&claim::Model> {
    (claims.get(&id)).ok_or_else(|| Error::internal("a row of a claim that is not there"))
}

fn check_takes_money(path: &str, claim: &claim::Model, row: &advice_row::Model) -> Result<()> {
    if claims::to_rule(claim.state).takes_money() {
        return Ok(());
    }
    let message = format!(
        "Line {} is about {}, which was not submitted, or is closed. Submit it first, or set the row aside.",
        row.position, claim.number
    );
    Err(Error::refused(ProblemCode::WrongState, path, message))
}

fn plan(row: advice_row::Model, claim_id: i64, standing: &mut Standing) -> Result<Planned> {
    let paid = Cents(row.paid_cents);
    *standing = standing.expecting(paid)?;
    let balance = &mut standing.balance;
    let open = (balance.open()).map_err(|refusal| Error::caused("balance of a claim", refusal))?;
    let settlement = line_of(paid, row.refused_cents.map(Cents), balance)?;
    let laid = paid.min(open.max(Cents::ZERO));
    balance.paid = sum([balance.paid, laid])?;
    Ok(Planned {
        row,
        claim_id,
        settlement,
        laid,
    })
}

fn sum(amounts: [Cents; 2]) -> Result<Cents> {
    Cents::sum(amounts).map_err(|refusal| Error::caused("sum of an advice", refusal))
}

impl Planned {
    /// The steps its claim takes, in order.
    fn steps(
        &self,
        claim: &claim::Model,
        advice: &payer_advice::Model,
        on: NaiveDate,
    ) -> Result<Vec<Taken>> {
        let Some(settlement) = self.settlement else {
            return Ok(Vec::new());
        };
        let steps = claims::to_rule(claim.state)
            .steps_by(settlement)
            .map_err(|refusal| {
                let message = format!("Claim {}: {refusal}.", claim.number);
                Error::refused(ProblemCode::WrongState, "claimId", message)
            })?;
        let is_less = matches!(
            settlement,
            Settlement::Short { .. } | Settlement::Refused { .. }
        );
        let reason = self.row.reason_code.as_deref().filter(|_| is_less);
        let taken = steps.into_iter().map(|step| Taken {
            step,
            on,
            note: Some(self.words(settlement, advice)),
            reason: reason.map(reason_of),
            cents: match step {
                ClaimStep::Deny => self.row.refused_cents.map(Cents),
                _ => Some(Cents(self.row.paid_cents)),
            },
            by: Some(TakenBy::AdviceRow(self.row.id)),
        });
        Ok(taken.collect())
    }

    /// Where it stands, and what the payer wrote.
    fn words(&self, settlement: Settlement, advice: &payer_advice::Model) -> String {
        let over = match settlement {
            Settlement::TooMuch { over } => format!("; {over} more than was open"),
            _ => String::new(),
        };
        let note = self.row.note.as_ref();
        let note = note.map_or_else(String::new, |note| format!(": {note}"));
        let line = self.row.position;
        format!("Advice {}, line {line}{over}{note}", advice.reference)
    }

    async fn write(self, tx: &impl ConnectionTrait, act: &Act) -> Result<advice_row::Model> {
        let mut row = self.row.into_active_model();
        row.settled_at = Set(Some(act.at));
        row.laid_cents = Set(Some(self.laid.0));
        row.outcome = Set(self.settlement.map(outcome));
        Ok(row.update(tx).await?)
    }
}

/// As kept.
pub const fn outcome(settlement: Settlement) -> AdviceOutcome {
    match settlement {
        Settlement::InFull => AdviceOutcome::InFull,
        Settlement::Short { .. } => AdviceOutcome::Short,
        Settlement::Refused { .. } => AdviceOutcome::Refused,
        Settlement::TooMuch { .. } => AdviceOutcome::TooMuch,
    }
}

/// A payer's code with the release of the list that has it.
fn reason_of(code: &str) -> (String, String) {
    let known = outcome_codes()
        .iter()
        .find(|known| known.code.eq_ignore_ascii_case(code));
    match known {
        Some(known) => (known.code.to_owned(), OUTCOME_RELEASE.to_owned()),
        None => (code.to_owned(), OWN_CODES.to_owned()),
    }
}
