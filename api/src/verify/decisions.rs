//! Decisions who pays: what they say, what was billed by them, and what the shop bears.

use std::collections::BTreeMap;

use nameplate_entities::kinds::CoverageSplit;
use nameplate_entities::{coverage_decision, coverage_portion, invoice_division};
use nameplate_rules::coverage::LineSplit;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect, Statement,
};

use crate::base::Result;
use crate::coverage::{self, Kept, PortionOf};

use super::statement::{Rule, ask};
use super::{FINDINGS_MAX, Finding};

/// Decisions, or divisions by one, looked at in one go.
const AT_ONCE: u64 = 500;

pub async fn check(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let mut findings = ask(tx, RULES).await?;
    findings.extend(decisions(tx).await?);
    findings.extend(divisions(tx).await?);
    Ok(findings)
}

/// By line and by payer and programme, the shop being neither: cents before tax.
type Shares = BTreeMap<(i32, Option<i64>, Option<i64>), i64>;

/// What a split gives to others than the customer.
fn shares(portions: &[PortionOf]) -> Shares {
    let mut shares = Shares::new();
    for portion in portions {
        // What the shop bears in place of a programme counts as its own work does: nobody is billed.
        let programme = portion.programme_id.filter(|_| portion.payer_id.is_some());
        let key = (portion.position, portion.payer_id, programme);
        *shares.entry(key).or_default() += portion.amount.0;
    }
    shares
}

/// What a decision says is what its rows say, and no line is paid twice.
async fn decisions(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let mut findings = Vec::new();
    let mut after = 0;
    loop {
        let rows = coverage_decision::Entity::find()
            .filter(coverage_decision::Column::Id.gt(after))
            .order_by_asc(coverage_decision::Column::Id)
            .limit(AT_ONCE)
            .all(tx)
            .await?;
        let Some(last) = rows.last() else {
            return Ok(findings);
        };
        after = last.id;
        let ids = rows.iter().map(|row| row.id);
        let portions = coverage_portion::Entity::find()
            .filter(coverage_portion::Column::DecisionId.is_in(ids))
            .all(tx)
            .await?;
        let mut of: BTreeMap<i64, Vec<coverage_portion::Model>> = BTreeMap::new();
        for portion in portions {
            of.entry(portion.decision_id).or_default().push(portion);
        }
        for row in &rows {
            let portions = of.remove(&row.id).unwrap_or_default();
            if let Some(what) = wrong_with(row, &portions)
                && findings.len() < FINDINGS_MAX
            {
                findings.push(Finding {
                    table: "coverage_decision",
                    row: row.id.to_string(),
                    what,
                });
            }
        }
    }
}

fn wrong_with(
    row: &coverage_decision::Model,
    portions: &[coverage_portion::Model],
) -> Option<String> {
    let Ok(kept) = coverage::kept(row) else {
        return Some("what it was made of does not read".to_owned());
    };
    let Kept {
        lines, decision, ..
    } = &kept;
    for splits in [&decision.lines, &decision.sure_lines] {
        let fits = |(line, split): (&nameplate_rules::coverage::Line, &LineSplit)| {
            let paid: i64 = split.portions.iter().map(|portion| portion.amount.0).sum();
            paid <= line.amount.0 && paid + split.customer.0 == line.amount.0
        };
        if lines.len() != splits.len() || !lines.iter().zip(splits).all(fits) {
            return Some("a line whose portions and rest are not all of it".to_owned());
        }
    }
    let key = |of: &coverage_portion::Model| (of.position, of.payer_id, of.terms_id, of.cents);
    let mut found: Vec<_> = portions.iter().map(key).collect();
    let mut expected: Vec<_> = (kept.portions(CoverageSplit::Settled).iter())
        .map(|of| (of.position, of.payer_id, of.terms_id, of.amount.0))
        .collect();
    found.sort_unstable();
    expected.sort_unstable();
    if found != expected {
        return Some(format!(
            "{} portions found, other than the {} decided",
            found.len(),
            expected.len()
        ));
    }
    let customer: i64 = decision.lines.iter().map(|split| split.customer.0).sum();
    let at_most: i64 = (decision.sure_lines.iter())
        .map(|split| split.customer.0)
        .sum();
    let total: i64 = lines.iter().map(|line| line.amount.0).sum();
    let found = (row.total_cents, row.customer_cents, row.at_most_cents);
    (found != (total, customer, at_most)).then(|| {
        format!("total, customer and customer at most: {found:?} found, {total}, {customer}, {at_most} expected")
    })
}

#[derive(FromQueryResult)]
struct Billed {
    division_id: i64,
    position: Option<i32>,
    payer_id: Option<i64>,
    programme_id: Option<i64>,
    cents: i64,
}

/// By payer and line, what the invoices of these divisions first billed, after discount and before tax. A share billed
/// again to somebody else counts as it was.
const BILLED: &str = "SELECT i.division_id, l.sale_position AS position, i.warranty_payer_id AS payer_id, \
     t.programme_id, CAST(SUM(l.net_cents - l.discount_cents) AS BIGINT) AS cents FROM invoice i \
     JOIN invoice_division d ON d.id = i.division_id AND d.coverage_decision_id IS NOT NULL \
     JOIN invoice_line l ON l.invoice_id = i.id LEFT JOIN programme_terms t ON t.id = i.programme_terms_id \
     WHERE i.kind = 'invoice' AND i.rebills_invoice_id IS NULL AND i.division_id > $1 AND i.division_id <= $2 \
     GROUP BY i.division_id, l.sale_position, i.warranty_payer_id, t.programme_id";

/// What was billed by a decision is what it says: to each payer its portions, the rest to the customer, and nothing of the
/// shop's to anybody.
async fn divisions(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let mut findings = Vec::new();
    let mut after = 0;
    loop {
        let rows = invoice_division::Entity::find()
            .filter(invoice_division::Column::CoverageDecisionId.is_not_null())
            .filter(invoice_division::Column::Id.gt(after))
            .order_by_asc(invoice_division::Column::Id)
            .limit(AT_ONCE)
            .all(tx)
            .await?;
        let Some(last) = rows.last() else {
            return Ok(findings);
        };
        let mut billed = billed(tx, (after, last.id)).await?;
        after = last.id;
        let ids = rows.iter().filter_map(|row| row.coverage_decision_id);
        let decisions: BTreeMap<i64, coverage_decision::Model> = coverage_decision::Entity::find()
            .filter(coverage_decision::Column::Id.is_in(ids))
            .all(tx)
            .await?
            .into_iter()
            .map(|row| (row.id, row))
            .collect();
        for row in &rows {
            let decision = row.coverage_decision_id.and_then(|id| decisions.get(&id));
            let billed = billed.remove(&row.id).unwrap_or_default();
            if let Some(what) = wrong_with_bill(row, decision, &billed)
                && findings.len() < FINDINGS_MAX
            {
                findings.push(Finding {
                    table: "invoice_division",
                    row: row.id.to_string(),
                    what,
                });
            }
        }
    }
}

async fn billed(
    tx: &impl ConnectionTrait,
    (after, through): (i64, i64),
) -> Result<BTreeMap<i64, Shares>> {
    let backend = tx.get_database_backend();
    let values = [after.into(), through.into()];
    let statement = Statement::from_sql_and_values(backend, BILLED, values);
    let mut of: BTreeMap<i64, Shares> = BTreeMap::new();
    for row in Billed::find_by_statement(statement).all(tx).await? {
        if row.cents != 0 {
            let key = (
                row.position.unwrap_or_default(),
                row.payer_id,
                row.programme_id,
            );
            of.entry(row.division_id)
                .or_default()
                .insert(key, row.cents);
        }
    }
    Ok(of)
}

fn wrong_with_bill(
    row: &invoice_division::Model,
    decision: Option<&coverage_decision::Model>,
    billed: &Shares,
) -> Option<String> {
    let decision = decision.filter(|decision| decision.call_id == row.call_id);
    let Some(kept) = decision.and_then(|decision| coverage::kept(decision).ok()) else {
        return Some("no decision of its call that it was divided by".to_owned());
    };
    let Some(split) = row.coverage_split else {
        return Some("which split of its decision was billed is not said".to_owned());
    };
    let (shops, mut expected): (Shares, Shares) = shares(&kept.portions(split))
        .into_iter()
        .partition(|((_, payer, _), _)| payer.is_none());
    for (position, split) in (1..).zip(kept.splits(split)) {
        if split.customer.0 != 0 {
            expected.insert((position, None, None), split.customer.0);
        }
    }
    if *billed != expected {
        let sum = |shares: &Shares| shares.values().sum::<i64>();
        return Some(format!(
            "cents billed to payers and customer against what was decided, by line: {} found, {} expected in all",
            sum(billed),
            sum(&expected)
        ));
    }
    let shop: i64 = shops.values().sum();
    let found = row.shop_net_cents - row.shop_discount_cents;
    if found != shop || row.shop_cents != found + row.shop_tax_cents {
        return Some(format!(
            "cents that the shop bears: {found} and with tax {} found, {shop} decided",
            row.shop_cents
        ));
    }
    None
}

const RULES: &[Rule] = &[
    Rule {
        table: "service_call",
        what: "decisions that stand on a call, once any was made",
        sql: "SELECT call_id AS row_id, CAST(COUNT(standing_call_id) AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected \
              FROM coverage_decision GROUP BY call_id HAVING COUNT(standing_call_id) <> 1 ORDER BY call_id",
    },
    Rule {
        table: "coverage_decision",
        what: "the call on which a decision stands against its own",
        sql: "SELECT id AS row_id, standing_call_id AS found, call_id AS expected FROM coverage_decision \
              WHERE standing_call_id <> call_id ORDER BY id",
    },
    Rule {
        table: "invoice",
        what: "an invoice to a warranty payer that is not on the payer's record, or names terms of another's programme",
        sql: "SELECT i.id AS row_id, i.customer_id AS found, w.customer_id AS expected FROM invoice i \
              LEFT JOIN warranty_payer w ON w.id = i.warranty_payer_id \
              LEFT JOIN programme_terms t ON t.id = i.programme_terms_id \
              LEFT JOIN warranty_programme g ON g.id = t.programme_id \
              WHERE i.payer = 'warranty_payer' AND i.kind = 'invoice' \
              AND (w.id IS NULL OR w.customer_id <> i.customer_id OR g.payer_id <> w.id) ORDER BY i.id",
    },
    Rule {
        table: "call_borne",
        what: "cents on cost of callbacks in its entry against parts, labour and trips borne",
        sql: "SELECT b.id AS row_id, CAST(COALESCE(SUM(CASE WHEN a.role = 'callback_cost' \
              THEN p.debit_cents - p.credit_cents ELSE 0 END), 0) AS BIGINT) AS found, \
              b.parts_cents + b.labour_cents + b.trip_cents AS expected FROM call_borne b \
              LEFT JOIN journal_entry e ON e.id = b.entry_id AND e.document_kind = 'service_call' \
              AND e.document_id = b.call_id AND e.entry_on = b.borne_on \
              LEFT JOIN posting p ON p.entry_id = e.id LEFT JOIN account a ON a.id = p.account_id \
              GROUP BY b.id, b.parts_cents, b.labour_cents, b.trip_cents HAVING COUNT(e.id) = 0 \
              OR COALESCE(SUM(CASE WHEN a.role = 'callback_cost' THEN p.debit_cents - p.credit_cents ELSE 0 END), 0) \
              <> b.parts_cents + b.labour_cents + b.trip_cents \
              OR COALESCE(SUM(CASE WHEN a.role = 'labour_applied' THEN p.credit_cents - p.debit_cents ELSE 0 END), 0) \
              <> b.labour_cents + b.trip_cents ORDER BY b.id",
    },
    Rule {
        table: "call_borne",
        what: "cents that an hour of labor cost against what it did when the shop first bore labor of the call",
        sql: "SELECT b.id AS row_id, b.labour_hour_cents AS found, f.labour_hour_cents AS expected FROM call_borne b \
              JOIN call_borne f ON f.id = (SELECT MIN(x.id) FROM call_borne x WHERE x.call_id = b.call_id \
              AND x.labour_hour_cents IS NOT NULL) WHERE b.labour_hour_cents <> f.labour_hour_cents ORDER BY b.id",
    },
    Rule {
        table: "call_borne",
        what: "cents that a trip cost against what it did when the shop first bore a trip of the call",
        sql: "SELECT b.id AS row_id, b.trip_each_cents AS found, f.trip_each_cents AS expected FROM call_borne b \
              JOIN call_borne f ON f.id = (SELECT MIN(x.id) FROM call_borne x WHERE x.call_id = b.call_id \
              AND x.trip_each_cents IS NOT NULL) WHERE b.trip_each_cents <> f.trip_each_cents ORDER BY b.id",
    },
    Rule {
        table: "service_call",
        what: "cents on cost of callbacks in a call's entries against what the shop was made to bear, less what came back",
        sql: "SELECT call_id AS row_id, CAST(SUM(booked) AS BIGINT) AS found, CAST(SUM(borne) AS BIGINT) AS expected FROM \
              (SELECT e.document_id AS call_id, p.debit_cents - p.credit_cents AS booked, 0 AS borne \
              FROM journal_entry e JOIN posting p ON p.entry_id = e.id \
              JOIN account a ON a.id = p.account_id AND a.role = 'callback_cost' \
              WHERE e.document_kind = 'service_call' \
              UNION ALL SELECT call_id, 0, parts_cents + labour_cents + trip_cents FROM call_borne \
              UNION ALL SELECT m.call_id, 0, -m.value_cents FROM stock_move m \
              JOIN account a ON a.id = m.account_id AND a.role = 'callback_cost' \
              WHERE m.kind = 'taken_back' AND m.call_id IS NOT NULL) t \
              GROUP BY call_id HAVING SUM(booked) <> SUM(borne) ORDER BY call_id",
    },
];
