//! Claims agree with invoice, decision, terms and papers, and each took only steps that the life of a claim has.

use chrono::NaiveDate;
use futures_util::TryStreamExt;
use nameplate_rules::claims::{ClaimState, ClaimStep, StepTaken, unsaid};
use sea_orm::{ConnectionTrait, FromQueryResult, Statement, StreamTrait};
use serde::de::DeserializeOwned;

use crate::base::Result;
use crate::claims::TakenBy;

use super::statement::{Rule, ask};
use super::{FINDINGS_MAX, Finding};

pub async fn check(tx: &(impl ConnectionTrait + StreamTrait)) -> Result<Vec<Finding>> {
    let mut findings = ask(tx, RULES).await?;
    findings.extend(lives(tx).await?);
    Ok(findings)
}

#[derive(FromQueryResult)]
struct Row {
    claim_id: i64,
    now: String,
    step: Option<String>,
    state: Option<String>,
    taken_on: Option<NaiveDate>,
    advice_row_id: Option<i64>,
    payment_id: Option<i64>,
}

/// A claim whose steps are read one after the other.
struct Life {
    claim_id: i64,
    now: String,
    state: Option<ClaimState>,
    /// Where it was closed, while it is.
    closed_in: Option<ClaimState>,
    taken: Vec<StepTaken<TakenBy>>,
    was_sent: bool,
    is_void: bool,
    last_on: Option<NaiveDate>,
    wrong: Option<String>,
}

const STEPS: &str = "SELECT c.id AS claim_id, c.state AS now, s.step, s.state, s.taken_on, s.advice_row_id, s.payment_id FROM claim c \
     LEFT JOIN claim_step s ON s.claim_id = c.id ORDER BY c.id, s.id";

/// Every step follows from the state before it, and the last one says where the claim stands.
async fn lives(tx: &(impl ConnectionTrait + StreamTrait)) -> Result<Vec<Finding>> {
    let statement = Statement::from_string(ConnectionTrait::get_database_backend(tx), STEPS);
    let mut steps = Row::find_by_statement(statement).stream(tx).await?;
    let mut findings = Vec::new();
    let mut life: Option<Life> = None;
    while let Some(step) = steps.try_next().await? {
        if life
            .as_ref()
            .is_none_or(|life| life.claim_id != step.claim_id)
        {
            findings.extend(life.take().and_then(Life::ended));
        }
        let mut now = life.take().unwrap_or_else(|| Life {
            claim_id: step.claim_id,
            now: step.now.clone(),
            state: None,
            closed_in: None,
            taken: Vec::new(),
            was_sent: false,
            is_void: false,
            last_on: None,
            wrong: None,
        });
        now.takes(&step);
        life = Some(now);
    }
    findings.extend(life.and_then(Life::ended));
    findings.truncate(FINDINGS_MAX);
    Ok(findings)
}

/// A word of a closed list; none for one that is not in it.
fn word<T: DeserializeOwned>(text: Option<&str>) -> Option<T> {
    serde_json::from_value(serde_json::Value::String(text?.to_owned())).ok()
}

impl Life {
    fn takes(&mut self, step: &Row) {
        let taken: Option<ClaimStep> = word(step.step.as_deref());
        let by = TakenBy::of(step.advice_row_id, step.payment_id);
        let next: Option<ClaimState> = match (self.state, step.step.as_deref()) {
            (None, Some("drafted")) => Some(ClaimState::Draft),
            (Some(state), _) if !self.is_void => taken.and_then(|taken| match taken {
                ClaimStep::Resume => (self.closed_in).and_then(|before| state.resumed(before).ok()),
                ClaimStep::Unsay => by.and_then(|by| unsaid(&self.taken, by)),
                other => state.after(other).ok(),
            }),
            _ => None,
        };
        let said = word::<ClaimState>(step.state.as_deref());
        if self.wrong.is_none() && (next.is_none() || next != said) {
            let taken = step.step.as_deref().unwrap_or("nothing");
            self.wrong = Some(format!(
                "the step {taken} does not follow from what was before it"
            ));
        }
        // It may have gone out before anybody wrote down that it was drafted.
        let is_first_sending = taken == Some(ClaimStep::Submit) && !self.was_sent;
        if self.wrong.is_none() && !is_first_sending && step.taken_on < self.last_on {
            self.wrong = Some("a step is dated before the one before it".to_owned());
        }
        self.taken
            .extend(taken.zip(said).map(|(step_taken, state)| StepTaken {
                step: step_taken,
                state,
                cents: None,
                by,
            }));
        self.closed_in = self.state.filter(|_| taken == Some(ClaimStep::Close));
        self.was_sent |= taken == Some(ClaimStep::Submit);
        self.is_void |= taken == Some(ClaimStep::Void);
        self.state = said;
        self.last_on = step.taken_on;
    }

    fn ended(self) -> Option<Finding> {
        let wrong = self.wrong.or_else(|| {
            let agrees = self.state.is_some() && self.state == word(Some(&self.now));
            (!agrees).then(|| format!("it is {}, which is not where its last step led", self.now))
        })?;
        Some(Finding {
            table: "claim",
            row: self.claim_id.to_string(),
            what: wrong,
        })
    }
}

const RULES: &[Rule] = &[
    Rule {
        table: "claim",
        what: "cents claimed against the total of its invoice",
        sql: "SELECT c.id AS row_id, c.claimed_cents AS found, i.total_cents AS expected FROM claim c \
              JOIN invoice i ON i.id = c.invoice_id WHERE c.claimed_cents <> i.total_cents ORDER BY c.id",
    },
    Rule {
        table: "claim",
        what: "call of its invoice, which is its payer's, against its own",
        sql: "SELECT c.id AS row_id, i.call_id AS found, c.call_id AS expected FROM claim c \
              JOIN invoice i ON i.id = c.invoice_id WHERE i.kind <> 'invoice' OR i.payer <> 'warranty_payer' \
              OR i.call_id IS NULL OR i.call_id <> c.call_id OR i.warranty_payer_id IS NULL \
              OR i.warranty_payer_id <> c.payer_id ORDER BY c.id",
    },
    Rule {
        table: "claim",
        what: "call of its decision against its own",
        sql: "SELECT c.id AS row_id, d.call_id AS found, c.call_id AS expected FROM claim c \
              JOIN coverage_decision d ON d.id = c.decision_id WHERE d.call_id <> c.call_id ORDER BY c.id",
    },
    Rule {
        table: "claim",
        what: "payer of its terms against its own",
        sql: "SELECT c.id AS row_id, p.payer_id AS found, c.payer_id AS expected FROM claim c \
              JOIN programme_terms t ON t.id = c.terms_id JOIN warranty_programme p ON p.id = t.programme_id \
              WHERE t.programme_id <> c.programme_id OR p.payer_id <> c.payer_id ORDER BY c.id",
    },
    Rule {
        table: "claim",
        what: "a claim whose decision gives its payer nothing under its terms",
        sql: "SELECT c.id AS row_id, c.decision_id AS found, CAST(NULL AS BIGINT) AS expected FROM claim c \
              WHERE NOT EXISTS (SELECT 1 FROM coverage_portion p WHERE p.decision_id = c.decision_id \
              AND p.payer_id = c.payer_id AND p.terms_id = c.terms_id) \
              AND NOT EXISTS (SELECT 1 FROM invoice i JOIN invoice_division d ON d.id = i.division_id \
              WHERE i.id = c.invoice_id AND i.programme_terms_id = c.terms_id AND d.coverage_decision_id = c.decision_id) \
              ORDER BY c.id",
    },
    Rule {
        table: "claim_paper",
        what: "a file of another call and machine",
        sql: "SELECT p.id AS row_id, p.attachment_id AS found, CAST(NULL AS BIGINT) AS expected FROM claim_paper p \
              JOIN claim c ON c.id = p.claim_id JOIN service_call s ON s.id = c.call_id \
              JOIN attachment a ON a.id = p.attachment_id WHERE COALESCE(a.call_id, 0) <> c.call_id \
              AND COALESCE(a.appliance_id, 0) <> s.appliance_id AND NOT EXISTS (SELECT 1 FROM finding f \
              WHERE f.id = a.finding_id AND f.call_id = c.call_id) ORDER BY p.id",
    },
    Rule {
        table: "claim_paper",
        what: "call of its kept part against that of its claim",
        sql: "SELECT p.id AS row_id, k.call_id AS found, c.call_id AS expected FROM claim_paper p \
              JOIN claim c ON c.id = p.claim_id JOIN kept_part k ON k.id = p.kept_part_id \
              WHERE k.call_id <> c.call_id ORDER BY p.id",
    },
    Rule {
        table: "claim",
        what: "archives kept of it against the times it was submitted or appealed",
        sql: "SELECT c.id AS row_id, (SELECT COUNT(*) FROM claim_sending g WHERE g.claim_id = c.id) AS found, \
              (SELECT COUNT(*) FROM claim_step s WHERE s.claim_id = c.id AND s.step IN ('submit', 'appeal')) AS expected \
              FROM claim c WHERE (SELECT COUNT(*) FROM claim_sending g WHERE g.claim_id = c.id) <> \
              (SELECT COUNT(*) FROM claim_step s WHERE s.claim_id = c.id AND s.step IN ('submit', 'appeal')) ORDER BY c.id",
    },
    Rule {
        table: "claim_sending",
        what: "claim of the step by which it went against its own",
        sql: "SELECT g.id AS row_id, s.claim_id AS found, g.claim_id AS expected FROM claim_sending g \
              JOIN claim_step s ON s.id = g.step_id WHERE s.claim_id <> g.claim_id OR s.step NOT IN ('submit', 'appeal') \
              ORDER BY g.id",
    },
    Rule {
        table: "claim",
        what: "a day of submission that is not its first one",
        sql: "SELECT c.id AS row_id, CAST(NULL AS BIGINT) AS found, CAST(NULL AS BIGINT) AS expected FROM claim c \
              LEFT JOIN (SELECT claim_id, MIN(taken_on) AS taken_on FROM claim_step WHERE step = 'submit' \
              GROUP BY claim_id) s ON s.claim_id = c.id WHERE (c.submitted_on IS NULL) <> (s.taken_on IS NULL) \
              OR c.submitted_on <> s.taken_on ORDER BY c.id",
    },
    Rule {
        table: "claim",
        what: "a day of submission before its call was completed",
        sql: "SELECT c.id AS row_id, CAST(NULL AS BIGINT) AS found, CAST(NULL AS BIGINT) AS expected FROM claim c \
              JOIN service_call s ON s.id = c.call_id WHERE c.submitted_on < s.completed_on ORDER BY c.id",
    },
    Rule {
        table: "claim",
        what: "whether it stands: its call and invoice while it is not void, and nothing once it is",
        sql: "SELECT id AS row_id, found, expected FROM (SELECT c.id, c.standing_invoice_id AS found, \
              c.standing_call_id AS of_call, c.call_id, CASE WHEN EXISTS (SELECT 1 FROM claim_step s \
              WHERE s.claim_id = c.id AND s.step = 'void') THEN NULL ELSE c.invoice_id END AS expected FROM claim c) v \
              WHERE COALESCE(found, 0) <> COALESCE(expected, 0) \
              OR COALESCE(of_call, 0) <> CASE WHEN expected IS NULL THEN 0 ELSE call_id END ORDER BY id",
    },
    Rule {
        table: "claim",
        what: "an invoice that was taken back while the claim stands",
        sql: "SELECT c.id AS row_id, c.invoice_id AS found, CAST(NULL AS BIGINT) AS expected FROM claim c \
              JOIN receivable r ON r.invoice_id = c.standing_invoice_id WHERE r.taken_back ORDER BY c.id",
    },
];
