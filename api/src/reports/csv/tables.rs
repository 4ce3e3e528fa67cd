//! Reports that are bounded by what they are about: accounts, levels, days, a number of calls.

use nameplate_rules::books::AccountKind;
use nameplate_rules::money::Cents;
use sea_orm::{ActiveEnum, ConnectionTrait};

use crate::base::{Error, Result};
use crate::books;

use super::super::statements::{self, Statement};
use super::super::store::{self, Span, margins};
use super::super::{Basis, taxes, too_large};
use super::file::{File, amount, text};

/// Calls in a file, the lowest margin first.
const CALLS_MAX: u64 = 1_000;

pub async fn trial_balance(db: &impl ConnectionTrait, file: &mut File, span: Span) -> Result<()> {
    file.row(["account", "name", "kind", "debit", "credit"])?;
    let Statement { balances, sums } = statements::trial_balance(db, span.to, false).await?;
    for (balance, sum) in balances.iter().zip(&sums.rows) {
        let kind = balance.kind.to_value();
        let (code, name) = (text(&balance.code), text(&balance.name));
        file.row([code, name, kind, amount(sum.debit), amount(sum.credit)])?;
    }
    Ok(())
}

pub async fn income(
    db: &impl ConnectionTrait,
    file: &mut File,
    span: Span,
    basis: Basis,
) -> Result<()> {
    let statement = statements::income(db, span, basis).await?;
    by_kind(
        file,
        &statement,
        &[AccountKind::Revenue, AccountKind::Expense],
    )?;
    let sums = nameplate_rules::books::statements::income(&statement.sums).map_err(too_large)?;
    total(file, "Total revenue", sums.revenue)?;
    total(file, "Total expense", sums.expenses)?;
    total(file, "Net income", sums.net)
}

/// The result stands as its own row, without an account: that of a year which is closed on this very day, or what is not
/// closed to equity yet.
pub async fn balance_sheet(db: &impl ConnectionTrait, file: &mut File, span: Span) -> Result<()> {
    let statement = statements::balance_sheet(db, span.to).await?;
    let kinds = [
        AccountKind::Asset,
        AccountKind::Liability,
        AccountKind::Equity,
    ];
    by_kind(file, &statement, &kinds)?;
    let result = nameplate_rules::books::statements::income(&statement.sums);
    let net = result.map_err(too_large)?.net;
    let name = if books::is_year_closed_on(db, span.to).await? {
        "Result of the year"
    } else {
        "Result not yet closed"
    };
    file.row([
        "equity".to_owned(),
        String::new(),
        name.to_owned(),
        amount(net),
    ])?;
    let sums = nameplate_rules::books::statements::position(&statement.sums).map_err(too_large)?;
    total(file, "Total assets", sums.assets)?;
    total(file, "Total liabilities", sums.liabilities)?;
    total(file, "Total equity", sums.equity)
}

/// A sum over rows above it; its kind says that it is none of them.
fn total(file: &mut File, name: &str, sum: Cents) -> Result<()> {
    file.row([
        "total".to_owned(),
        String::new(),
        name.to_owned(),
        amount(sum),
    ])
}

fn by_kind(file: &mut File, statement: &Statement, kinds: &[AccountKind]) -> Result<()> {
    file.row(["kind", "account", "name", "amount"])?;
    for kind in kinds {
        for (balance, cents) in statement.of_kind(*kind) {
            let word = balance.kind.to_value();
            file.row([
                word,
                text(&balance.code),
                text(&balance.name),
                amount(cents),
            ])?;
        }
    }
    Ok(())
}

pub async fn sales_tax(
    db: &impl ConnectionTrait,
    file: &mut File,
    span: Span,
    basis: Basis,
) -> Result<()> {
    file.row([
        "jurisdiction",
        "level",
        "kind",
        "taxable",
        "tax",
        "opening",
        "not_collected",
        "other",
        "closing",
    ])?;
    for row in taxes::tax_liability(db, span, basis).await?.levels {
        file.row([
            text(&row.level.jurisdiction),
            text(&row.level.name),
            row.level.kind.to_value(),
            amount(row.taxable),
            amount(row.tax),
            amount(Cents(row.level.opening_cents)),
            amount(row.not_collected),
            amount(row.other),
            amount(Cents(row.level.closing_cents)),
        ])?;
    }
    Ok(())
}

pub async fn sales(
    db: &impl ConnectionTrait,
    file: &mut File,
    span: Span,
    basis: Basis,
) -> Result<()> {
    file.row(["jurisdiction", "treatment", "reason", "amount"])?;
    for place in taxes::tax_liability(db, span, basis).await?.places {
        let name = text(&place.name);
        file.row([
            name.clone(),
            "taxable".to_owned(),
            String::new(),
            amount(place.taxable),
        ])?;
        for row in &place.reasons {
            let treatment = if row.by_certificate {
                "exempt"
            } else {
                "untaxed"
            };
            let reason = text(&row.reason);
            file.row([
                name.clone(),
                treatment.to_owned(),
                reason,
                amount(row.amount),
            ])?;
        }
    }
    Ok(())
}

pub async fn takings(db: &impl ConnectionTrait, file: &mut File, span: Span) -> Result<()> {
    file.row(["day", "method", "amount", "payments"])?;
    for row in store::takings::takings(db, span).await? {
        let count = row.payment_count.to_string();
        let on = row.received_on.to_string();
        file.row([
            on,
            row.method.to_value(),
            amount(Cents(row.amount_cents)),
            count,
        ])?;
    }
    Ok(())
}

/// A row of a margin: what it is of, sales, cost and what is left.
fn margin(file: &mut File, of: String, sale_cents: i64, cost_cents: i64) -> Result<()> {
    let (sales, cost) = (Cents(sale_cents), Cents(cost_cents));
    let left = sales.checked_sub(cost);
    let left = left.ok_or_else(|| Error::internal("a sum is too large"))?;
    file.row([of, amount(sales), amount(cost), amount(left)])
}

pub async fn margin_by_call(db: &impl ConnectionTrait, file: &mut File, span: Span) -> Result<()> {
    file.row(["call", "sales", "cost", "margin"])?;
    for row in margins::by_call(db, span, (true, CALLS_MAX)).await? {
        margin(file, text(&row.number), row.sale_cents, row.cost_cents)?;
    }
    Ok(())
}

pub async fn margin_by_charge(
    db: &impl ConnectionTrait,
    file: &mut File,
    span: Span,
) -> Result<()> {
    file.row(["kind", "sales", "cost", "margin"])?;
    for row in margins::by_kind(db, span).await? {
        margin(file, row.kind.to_value(), row.sale_cents, row.cost_cents)?;
    }
    Ok(())
}

/// Calls that nobody visited yet stand under no name.
pub async fn margin_by_technician(
    db: &impl ConnectionTrait,
    file: &mut File,
    span: Span,
) -> Result<()> {
    file.row(["technician", "sales", "cost", "margin"])?;
    for row in margins::by_technician(db, span).await? {
        let name = row.name.as_deref().map_or_else(String::new, text);
        margin(file, name, row.sale_cents, row.cost_cents)?;
    }
    Ok(())
}
