//! The warranty reserve: runs follow one another, add up, and are what the books say.

use chrono::{Months, NaiveDate};
use nameplate_entities::reserve_run;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::base::Result;

use super::statement::{Rule, ask};
use super::{FINDINGS_MAX, Finding};

pub async fn check(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let mut findings = ask(tx, RULES).await?;
    findings.extend(chained(tx).await?);
    Ok(findings)
}

/// Standing runs are of months that follow one another, each opened with what the one before closed with. Months are few.
async fn chained(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let runs = reserve_run::Entity::find()
        .filter(reserve_run::Column::StandingOn.is_not_null())
        .order_by_asc(reserve_run::Column::ThroughOn)
        .order_by_asc(reserve_run::Column::Id)
        .all(tx)
        .await?;
    let mut findings = Vec::new();
    for (before, run) in runs.iter().zip(runs.iter().skip(1)) {
        let mut found = |what: String| {
            findings.push(Finding {
                table: "reserve_run",
                row: run.id.to_string(),
                what,
            });
        };
        if end_of_month_after(before.through_on) != Some(run.through_on) {
            let (through, before) = (run.through_on, before.through_on);
            found(format!(
                "it is of the month that ends on {through}, after that of {before}"
            ));
        }
        if run.opening_cents != before.closing_cents {
            let (opening, closing) = (run.opening_cents, before.closing_cents);
            found(format!(
                "cents it opens with against those the month before closed with: {opening} found, {closing} expected"
            ));
        }
    }
    findings.truncate(FINDINGS_MAX);
    Ok(findings)
}

fn end_of_month_after(last_day: NaiveDate) -> Option<NaiveDate> {
    let first = last_day.succ_opt()?;
    first.checked_add_months(Months::new(1))?.pred_opt()
}

const RULES: &[Rule] = &[
    Rule {
        table: "reserve_run",
        what: "cents of its strata against what it closes with",
        sql: "SELECT r.id AS row_id, CAST(COALESCE(SUM(s.cents), 0) AS BIGINT) AS found, \
              r.closing_cents AS expected FROM reserve_run r LEFT JOIN reserve_stratum s ON s.run_id = r.id \
              GROUP BY r.id, r.closing_cents HAVING COALESCE(SUM(s.cents), 0) <> r.closing_cents ORDER BY r.id",
    },
    Rule {
        table: "reserve_run",
        what: "cents of its strata for promises of the month against its own",
        sql: "SELECT r.id AS row_id, CAST(COALESCE(SUM(s.new_cents), 0) AS BIGINT) AS found, \
              r.new_cents AS expected FROM reserve_run r LEFT JOIN reserve_stratum s ON s.run_id = r.id \
              GROUP BY r.id, r.new_cents HAVING COALESCE(SUM(s.new_cents), 0) <> r.new_cents ORDER BY r.id",
    },
    Rule {
        table: "reserve_run",
        what: "cents of its table against what it closes with",
        sql: "SELECT id AS row_id, opening_cents + used_cents + new_cents + earlier_cents AS found, \
              closing_cents AS expected FROM reserve_run \
              WHERE opening_cents + used_cents + new_cents + earlier_cents <> closing_cents \
              OR closing_cents < 0 ORDER BY id",
    },
    Rule {
        table: "reserve_run",
        what: "cents of the warranty reserve in the books on its day against what it closes with",
        sql: "SELECT r.id AS row_id, CAST(COALESCE(SUM(p.credit_cents - p.debit_cents), 0) AS BIGINT) AS found, \
              r.closing_cents AS expected FROM reserve_run r \
              JOIN account a ON a.role = 'warranty_reserve' \
              LEFT JOIN posting p ON p.account_id = a.id AND p.entry_on <= r.through_on \
              WHERE r.standing_on IS NOT NULL GROUP BY r.id, r.closing_cents \
              HAVING COALESCE(SUM(p.credit_cents - p.debit_cents), 0) <> r.closing_cents ORDER BY r.id",
    },
    Rule {
        table: "reserve_run",
        what: "cents its entry takes out of the cost of callbacks against what was used",
        sql: "SELECT r.id AS row_id, CAST(COALESCE(SUM(p.credit_cents - p.debit_cents), 0) AS BIGINT) AS found, \
              -r.used_cents AS expected FROM reserve_run r \
              JOIN account a ON a.role = 'callback_cost' \
              LEFT JOIN posting p ON p.account_id = a.id AND p.entry_id = r.entry_id \
              GROUP BY r.id, r.used_cents \
              HAVING COALESCE(SUM(p.credit_cents - p.debit_cents), 0) <> -r.used_cents ORDER BY r.id",
    },
    Rule {
        table: "reserve_run",
        what: "entry of another day or document, or reversed while the run stands, or not once it is undone",
        sql: "SELECT r.id AS row_id, e.id AS found, r.entry_id AS expected FROM reserve_run r \
              JOIN journal_entry e ON e.id = r.entry_id \
              LEFT JOIN journal_entry u ON u.reverses_entry_id = e.id \
              WHERE e.entry_on <> r.through_on OR e.document_kind <> 'reserve_run' \
              OR e.document_id IS NULL OR e.document_id <> r.id \
              OR (u.id IS NULL) <> (r.standing_on IS NOT NULL) ORDER BY r.id",
    },
    Rule {
        table: "journal_entry",
        what: "the run of the warranty reserve an entry names",
        sql: "SELECT e.id AS row_id, CAST(NULL AS BIGINT) AS found, e.document_id AS expected \
              FROM journal_entry e LEFT JOIN reserve_run r ON r.id = e.document_id \
              WHERE e.document_kind = 'reserve_run' AND r.id IS NULL ORDER BY e.id",
    },
    Rule {
        table: "reserve_run",
        what: "day it stands for against its own, or undone without who and when",
        sql: "SELECT id AS row_id, CAST(NULL AS BIGINT) AS found, CAST(NULL AS BIGINT) AS expected \
              FROM reserve_run WHERE standing_on <> through_on OR \
              (standing_on IS NULL) <> (undone_at IS NOT NULL AND undone_by IS NOT NULL) ORDER BY id",
    },
];
