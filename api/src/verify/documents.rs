//! Documents hash to what was issued, and what was issued is what the rows say. Estimates add up too.

use std::collections::HashMap;

use nameplate_entities::{
    estimate_option, estimate_revision, invoice, invoice_line, invoice_tax, tax_level,
};
use nameplate_rules::estimate::Content as Offered;
use nameplate_rules::money::Cents;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use crate::base::{Result, secret};
use crate::invoices::content::{self, Content};

use super::statement::{Rule, ask};
use super::{FINDINGS_MAX, Finding};

/// Documents in memory at a time.
const PAGE: u64 = 200;

pub async fn check(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let mut findings = ask(tx, ESTIMATES).await?;
    findings.extend(invoices(tx).await?);
    findings.extend(revisions(tx).await?);
    Ok(findings)
}

async fn invoices(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let levels = tax_level::Entity::find().all(tx).await?;
    let levels: HashMap<i64, tax_level::Model> =
        levels.into_iter().map(|level| (level.id, level)).collect();
    let mut findings = Vec::new();
    let mut after = 0_i64;
    while findings.len() < FINDINGS_MAX {
        let page = invoice::Entity::find()
            .filter(invoice::Column::Id.gt(after))
            .order_by_asc(invoice::Column::Id)
            .limit(PAGE)
            .all(tx)
            .await?;
        let Some(last) = page.last() else { break };
        after = last.id;
        let ids = page.iter().map(|row| row.id).collect::<Vec<_>>();
        let mut lines = HashMap::<i64, Vec<invoice_line::Model>>::new();
        for line in lines_of(tx, &ids).await? {
            lines.entry(line.invoice_id).or_default().push(line);
        }
        let mut taxes = HashMap::<i64, Vec<invoice_tax::Model>>::new();
        for tax in taxes_of(tx, &ids).await? {
            taxes.entry(tax.invoice_id).or_default().push(tax);
        }
        for row in &page {
            let own_lines = lines.remove(&row.id).unwrap_or_default();
            let own_taxes = taxes.remove(&row.id).unwrap_or_default();
            let wrong = wrong_with(row, (&own_lines, &own_taxes), &levels);
            findings.extend(wrong.map(|what| finding("invoice", row.id, what)));
        }
    }
    Ok(findings)
}

async fn lines_of(tx: &impl ConnectionTrait, ids: &[i64]) -> Result<Vec<invoice_line::Model>> {
    Ok(invoice_line::Entity::find()
        .filter(invoice_line::Column::InvoiceId.is_in(ids.iter().copied()))
        .order_by_asc(invoice_line::Column::Position)
        .all(tx)
        .await?)
}

async fn taxes_of(tx: &impl ConnectionTrait, ids: &[i64]) -> Result<Vec<invoice_tax::Model>> {
    Ok(invoice_tax::Entity::find()
        .filter(invoice_tax::Column::InvoiceId.is_in(ids.iter().copied()))
        .order_by_asc(invoice_tax::Column::Position)
        .all(tx)
        .await?)
}

/// The first thing wrong with an issued document, if anything is.
fn wrong_with(
    row: &invoice::Model,
    (lines, taxes): (&[invoice_line::Model], &[invoice_tax::Model]),
    levels: &HashMap<i64, tax_level::Model>,
) -> Option<&'static str> {
    if content::hash_of(&row.content_json) != row.content_hash {
        return Some("its content does not hash to what was issued");
    }
    let Ok(said) = Content::of(row) else {
        return Some("its content cannot be read");
    };
    if said.draft().ok().map(|draft| draft.totals()) != Some(said.totals) {
        return Some("its content does not add up");
    }
    let totals = (
        row.net_cents,
        row.discount_cents,
        row.tax_cents,
        row.total_cents,
    );
    let said_totals = (
        said.totals.subtotal.0,
        said.totals.discount.0,
        said.totals.tax.0,
        said.totals.total.0,
    );
    let header = (row.kind, row.number.as_str(), row.issued_on, row.due_on);
    if totals != said_totals || header != (said.kind, &said.number, said.issued_on, said.due_on) {
        return Some("its row differs from its content");
    }
    if !lines.iter().map(content::line).eq(said.lines) {
        return Some("its lines differ from its content");
    }
    let told = taxes
        .iter()
        .map(|tax| content::tax(tax, levels.get(&tax.tax_level_id)?).ok())
        .collect::<Option<Vec<_>>>();
    (told != Some(said.tax_levels)).then_some("its taxes differ from its content")
}

async fn revisions(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let mut findings = Vec::new();
    let mut after = 0_i64;
    while findings.len() < FINDINGS_MAX {
        let page = estimate_revision::Entity::find()
            .filter(estimate_revision::Column::Id.gt(after))
            .filter(estimate_revision::Column::ContentJson.is_not_null())
            .order_by_asc(estimate_revision::Column::Id)
            .limit(PAGE)
            .all(tx)
            .await?;
        let Some(last) = page.last() else { break };
        after = last.id;
        let ids = page.iter().map(|row| row.id).collect::<Vec<_>>();
        let mut options = HashMap::<i64, Vec<estimate_option::Model>>::new();
        for option in options_of(tx, &ids).await? {
            options.entry(option.revision_id).or_default().push(option);
        }
        for row in &page {
            let own = options.remove(&row.id).unwrap_or_default();
            let wrong = wrong_with_offer(row, &own);
            findings.extend(wrong.map(|what| finding("estimate_revision", row.id, what)));
        }
    }
    Ok(findings)
}

async fn options_of(tx: &impl ConnectionTrait, ids: &[i64]) -> Result<Vec<estimate_option::Model>> {
    Ok(estimate_option::Entity::find()
        .filter(estimate_option::Column::RevisionId.is_in(ids.iter().copied()))
        .order_by_asc(estimate_option::Column::Position)
        .all(tx)
        .await?)
}

fn wrong_with_offer(
    row: &estimate_revision::Model,
    options: &[estimate_option::Model],
) -> Option<&'static str> {
    let json = row.content_json.as_deref().unwrap_or_default();
    if Some(secret::hash(json)) != row.content_hash {
        return Some("its content does not hash to what was sent");
    }
    let Ok(said) = serde_json::from_str::<Offered>(json) else {
        return Some("its content cannot be read");
    };
    if said.totals().is_err() {
        return Some("its content does not add up");
    }
    let said_options = said.options.iter().map(|option| {
        let amounts = (option.subtotal, option.discount, option.tax, option.total);
        (option.title.as_str(), amounts)
    });
    let rows = options.iter().map(|option| {
        let amounts = (
            Cents(option.net_cents),
            Cents(option.discount_cents),
            Cents(option.tax_cents),
            Cents(option.total_cents),
        );
        (option.title.as_str(), amounts)
    });
    (!rows.eq(said_options)).then_some("its options differ from its content")
}

fn finding(table: &'static str, id: i64, what: &str) -> Finding {
    Finding {
        table,
        row: id.to_string(),
        what: what.to_owned(),
    }
}

const ESTIMATES: &[Rule] = &[
    Rule {
        table: "estimate_option",
        what: "net cents of the lines against the option",
        sql: "SELECT o.id AS row_id, CAST(COALESCE(SUM(l.net_cents), 0) AS BIGINT) AS found, \
              o.net_cents AS expected FROM estimate_option o LEFT JOIN estimate_line l ON l.option_id = o.id \
              GROUP BY o.id, o.net_cents HAVING COALESCE(SUM(l.net_cents), 0) <> o.net_cents ORDER BY o.id",
    },
    Rule {
        table: "estimate_option",
        what: "discount cents of the lines against the option",
        sql: "SELECT o.id AS row_id, CAST(COALESCE(SUM(l.discount_cents), 0) AS BIGINT) AS found, \
              o.discount_cents AS expected FROM estimate_option o \
              LEFT JOIN estimate_line l ON l.option_id = o.id GROUP BY o.id, o.discount_cents \
              HAVING COALESCE(SUM(l.discount_cents), 0) <> o.discount_cents ORDER BY o.id",
    },
    Rule {
        table: "estimate_option",
        what: "tax cents of the lines against the option",
        sql: "SELECT o.id AS row_id, CAST(COALESCE(SUM(l.tax_cents), 0) AS BIGINT) AS found, \
              o.tax_cents AS expected FROM estimate_option o LEFT JOIN estimate_line l ON l.option_id = o.id \
              GROUP BY o.id, o.tax_cents HAVING COALESCE(SUM(l.tax_cents), 0) <> o.tax_cents ORDER BY o.id",
    },
    Rule {
        table: "estimate_option",
        what: "tax cents of the levels against the option",
        sql: "SELECT o.id AS row_id, CAST(COALESCE(SUM(t.tax_cents), 0) AS BIGINT) AS found, \
              o.tax_cents AS expected FROM estimate_option o LEFT JOIN estimate_tax t ON t.option_id = o.id \
              GROUP BY o.id, o.tax_cents HAVING COALESCE(SUM(t.tax_cents), 0) <> o.tax_cents ORDER BY o.id",
    },
    Rule {
        table: "estimate_option",
        what: "total cents against net less discount plus tax",
        sql: "SELECT id AS row_id, total_cents AS found, net_cents - discount_cents + tax_cents AS expected \
              FROM estimate_option WHERE total_cents <> net_cents - discount_cents + tax_cents ORDER BY id",
    },
    Rule {
        table: "estimate_revision",
        what: "frozen content of a revision that was sent",
        sql: "SELECT id AS row_id, CAST(0 AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected \
              FROM estimate_revision \
              WHERE (sent_at IS NOT NULL OR state IN ('sent', 'accepted', 'declined', 'expired', 'invoiced')) \
              AND (content_json IS NULL OR content_hash IS NULL OR sent_at IS NULL OR valid_until IS NULL) \
              ORDER BY id",
    },
    Rule {
        table: "estimate_revision",
        what: "an acceptance without name, time, option or the estimate's call",
        sql: "SELECT r.id AS row_id, r.accepted_call_id AS found, e.call_id AS expected \
              FROM estimate_revision r JOIN estimate e ON e.id = r.estimate_id \
              LEFT JOIN estimate_option o ON o.id = r.accepted_option_id AND o.revision_id = r.id \
              WHERE r.state IN ('accepted', 'invoiced') AND (o.id IS NULL OR r.answered_at IS NULL \
              OR r.answered_name IS NULL OR COALESCE(r.accepted_call_id, 0) <> e.call_id) ORDER BY r.id",
    },
    Rule {
        table: "service_call",
        what: "accepted estimates of one call",
        sql: "SELECT e.call_id AS row_id, CAST(COUNT(*) AS BIGINT) AS found, CAST(1 AS BIGINT) AS expected \
              FROM estimate_revision r JOIN estimate e ON e.id = r.estimate_id \
              WHERE r.state IN ('accepted', 'invoiced') GROUP BY e.call_id HAVING COUNT(*) > 1 \
              ORDER BY e.call_id",
    },
];
