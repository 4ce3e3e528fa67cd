//! What figures of payers are made of: five statements over the claims submitted within some days, by the index on that day.
//! Claims that are void and those whose invoice was taken back count for nothing.

use chrono::NaiveDate;
use nameplate_entities::coverage_decision;
use nameplate_entities::kinds::{ClaimState, ClaimStep, CoverageSplit};
use sea_orm::{ConnectionTrait, FromQueryResult, Statement, Value};

use crate::base::Result;

/// Which claims.
#[derive(Clone, Copy, Debug)]
pub struct Wanted {
    pub payer_id: Option<i64>,
    pub from: NaiveDate,
    pub through: NaiveDate,
}

/// A claim and the invoice that asks for it.
#[derive(Clone, Debug, FromQueryResult)]
pub struct ClaimRow {
    pub id: i64,
    pub payer_id: i64,
    pub terms_id: i64,
    pub state: ClaimState,
    pub claimed_cents: i64,
    pub submitted_on: NaiveDate,
    pub due_on: NaiveDate,
    pub net_cents: i64,
    pub decision_id: i64,
    /// The split of its decision that its invoice bills; none where that was not billed by it.
    pub coverage_split: Option<CoverageSplit>,
}

/// What settled the invoice of a claim.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Settled {
    pub claim_id: i64,
    pub amount_cents: i64,
    /// Whether it is money of the payer: a payment, or credit that it had from another invoice.
    pub is_money: bool,
    pub applied_on: NaiveDate,
}

/// What the payer answered to a claim.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Answer {
    pub claim_id: i64,
    pub step: ClaimStep,
}

/// Why less was paid of a claim.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Reason {
    pub claim_id: i64,
    pub reason_code: String,
}

const CLAIMED: &str = "SELECT c.id, c.payer_id, c.terms_id, c.state, c.claimed_cents, c.submitted_on, i.due_on, \
     i.total_cents - i.tax_cents AS net_cents, c.decision_id, v.coverage_split \
     FROM claim c JOIN invoice i ON i.id = c.invoice_id LEFT JOIN invoice_division v \
     ON v.id = i.division_id AND v.coverage_decision_id = c.decision_id WHERE ";
const SETTLED: &str = "SELECT c.id AS claim_id, a.amount_cents, a.applied_on, \
     (a.payment_id IS NOT NULL OR (n.id IS NOT NULL AND n.credits_invoice_id <> a.invoice_id)) AS is_money \
     FROM claim c JOIN allocation a ON a.invoice_id = c.invoice_id LEFT JOIN invoice n ON n.id = a.credit_note_id WHERE ";
const ANSWERS: &str = "SELECT c.id AS claim_id, s.step FROM claim c JOIN claim_step s ON s.claim_id = c.id \
     AND s.step IN ('approve', 'approve_part', 'deny') AND NOT EXISTS (SELECT 1 FROM claim_step u \
     WHERE (u.advice_row_id = s.advice_row_id OR u.payment_id = s.payment_id) AND u.claim_id = s.claim_id AND u.step = 'unsay' AND u.id > s.id) WHERE ";
const REASONS: &str = "SELECT c.id AS claim_id, s.reason_code FROM claim c \
     JOIN claim_step s ON s.claim_id = c.id AND s.reason_code IS NOT NULL AND NOT EXISTS (SELECT 1 FROM claim_step u \
     WHERE (u.advice_row_id = s.advice_row_id OR u.payment_id = s.payment_id) AND u.claim_id = s.claim_id AND u.step = 'unsay' AND u.id > s.id) WHERE ";
const DECISIONS: &str =
    "SELECT d.* FROM coverage_decision d WHERE d.id IN (SELECT c.decision_id FROM claim c WHERE ";

const STANDS: &str = " AND c.standing_invoice_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM receivable r \
     WHERE r.invoice_id = c.invoice_id AND r.taken_back)";

/// All that the figures are made of.
pub struct Found {
    pub claimed: Vec<ClaimRow>,
    /// Oldest first.
    pub settled: Vec<Settled>,
    /// Oldest first.
    pub answers: Vec<Answer>,
    /// Oldest first.
    pub reasons: Vec<Reason>,
    /// What the claims are of.
    pub decisions: Vec<coverage_decision::Model>,
}

/// Reads it.
///
/// # Errors
/// Internal only.
pub async fn found(db: &impl ConnectionTrait, wanted: Wanted) -> Result<Found> {
    Ok(Found {
        claimed: all(db, wanted, (CLAIMED, " ORDER BY c.id")).await?,
        settled: all(db, wanted, (SETTLED, " ORDER BY a.applied_on, a.id")).await?,
        answers: all(db, wanted, (ANSWERS, " ORDER BY s.id")).await?,
        reasons: all(db, wanted, (REASONS, " ORDER BY s.id")).await?,
        decisions: all(db, wanted, (DECISIONS, ")")).await?,
    })
}

async fn all<T: FromQueryResult>(
    db: &impl ConnectionTrait,
    wanted: Wanted,
    (select, end): (&str, &str),
) -> Result<Vec<T>> {
    let mut values: Vec<Value> = vec![wanted.from.into(), wanted.through.into()];
    let of_payer = wanted.payer_id.map_or("", |id| {
        values.push(id.into());
        " AND c.payer_id = $3"
    });
    let sql = format!("{select}c.submitted_on BETWEEN $1 AND $2{of_payer}{STANDS}{end}");
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    Ok(T::find_by_statement(statement).all(db).await?)
}
