//! Which lines a credit note gives back, and how much of each.

use std::collections::HashSet;

use nameplate_entities::exact::Exact;
use nameplate_entities::{invoice, invoice_line, invoice_tax};
use nameplate_rules::invoice::credit::{
    CreditLevel, CreditLine, CreditRefusal, LineAmounts, Wanted, credit_part,
};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use sea_orm::ConnectionTrait;

use crate::base::{Checks, Error, ProblemCode, Result};
use crate::invoices::issuing::writing::Rows;
use crate::invoices::store;
use crate::pricing;

use super::CreditedLine;

/// What is given back; amounts as printed, not negative.
pub struct Given {
    pub rows: Rows,
    pub leaves_nothing: bool,
}

/// Holds the lines against what can be said without the invoice.
pub fn check(checks: &mut Checks, lines: Option<&[CreditedLine]>) {
    let Some(lines) = lines else { return };
    if lines.is_empty() {
        let message = "Name at least one line, or leave this out to take the whole invoice back.";
        checks.refuse(ProblemCode::Missing, "lines", message);
    }
    let mut named = HashSet::new();
    for (at, line) in lines.iter().enumerate() {
        if !named.insert(line.position) {
            let message = "This line is named twice; add the two.";
            checks.refuse(
                ProblemCode::Malformed,
                &format!("lines.{at}.position"),
                message,
            );
        }
        if let Some(quantity) = line.quantity {
            checks.positive_decimal(&format!("lines.{at}.quantity"), quantity);
        }
        if let Some(amount) = line.amount_off {
            let path = format!("lines.{at}.amountOff");
            checks.positive(&path, amount);
            if line.quantity.is_some() {
                let message = "Give a quantity or an amount, one of the two.";
                checks.refuse(ProblemCode::Malformed, &path, message);
            }
        }
    }
}

/// Works out what is given back of an invoice.
///
/// # Errors
/// `NotFound` for a line; `TooMuch` for more than is left.
pub async fn given(
    tx: &impl ConnectionTrait,
    original: &invoice::Model,
    wanted: Option<&[CreditedLine]>,
) -> Result<Given> {
    let lines = store::lines_of(tx, original.id).await?;
    let taxes = store::taxes_of(tx, original.id).await?;
    let credited = store::credited_lines(tx, original.id).await?;
    let known: Vec<CreditLine> = lines
        .iter()
        .map(|line| credit_line(line, &credited))
        .collect::<Result<_>>()?;
    let levels = levels(tx, &taxes).await?;
    let wanted = places((&lines, &known), wanted)?;
    let part = credit_part(&known, &levels, &wanted).map_err(|refusal| refused(&refusal))?;
    let rows = part
        .lines
        .iter()
        .filter_map(|(at, amounts)| {
            let how = wanted.iter().find(|(place, _)| place == at)?;
            Some((lines.get(*at)?, amounts, how.1))
        })
        .map(|(line, amounts, how)| row_of(line, amounts, how))
        .collect();
    let taxes = taxes
        .into_iter()
        .zip(part.levels)
        .map(|(row, level)| invoice_tax::Model {
            taxable_cents: level.taxable.0,
            tax_cents: level.tax.0,
            ..row
        });
    Ok(Given {
        rows: Rows {
            lines: rows,
            taxes: taxes.collect(),
        },
        leaves_nothing: part.leaves_nothing,
    })
}

/// The places of the lines that are named; of all with something left when none is.
fn places(
    (lines, known): (&[invoice_line::Model], &[CreditLine]),
    wanted: Option<&[CreditedLine]>,
) -> Result<Vec<(usize, Wanted)>> {
    let Some(wanted) = wanted else {
        let mut left = Vec::with_capacity(known.len());
        for (at, line) in known.iter().enumerate() {
            let is_left = line.is_left();
            if is_left.map_err(|refusal| Error::caused("credit note", refusal))? {
                left.push((at, Wanted::Rest));
            }
        }
        return Ok(left);
    };
    let mut checks = Checks::new();
    let mut places = Vec::with_capacity(wanted.len());
    for (at, line) in wanted.iter().enumerate() {
        let how = match (line.quantity, line.amount_off) {
            (Some(quantity), _) => Wanted::Quantity(quantity),
            (None, Some(amount)) => Wanted::Amount(amount),
            (None, None) => Wanted::Rest,
        };
        match lines.iter().position(|row| row.position == line.position) {
            Some(place) => places.push((place, how)),
            None => checks.refuse(
                ProblemCode::NotFound,
                &format!("lines.{at}.position"),
                format!("The invoice has no line {}.", line.position),
            ),
        }
    }
    checks.finish()?;
    Ok(places)
}

/// A line as it was billed, and what credit notes gave back of it.
fn credit_line(line: &invoice_line::Model, credited: &[invoice_line::Model]) -> Result<CreditLine> {
    let mut so_far = LineAmounts::default();
    let back = |sum: Cents, cents: i64| {
        sum.checked_sub(Cents(cents))
            .ok_or_else(|| Error::internal("credits of a line are too large"))
    };
    for row in credited
        .iter()
        .filter(|row| row.credits_line_id == Some(line.id))
    {
        if !row.corrects_price {
            so_far.quantity -= row.quantity.0;
        }
        so_far.net = back(so_far.net, row.net_cents)?;
        so_far.discount = back(so_far.discount, row.discount_cents)?;
        so_far.taxable = back(so_far.taxable, row.taxable_cents)?;
        so_far.tax = back(so_far.tax, row.tax_cents)?;
        so_far.cost = back(so_far.cost, row.cost_cents)?;
    }
    Ok(CreditLine {
        kind: pricing::charge_of_row(line.kind),
        billed: LineAmounts {
            quantity: line.quantity.0,
            net: Cents(line.net_cents),
            discount: Cents(line.discount_cents),
            taxable: Cents(line.taxable_cents),
            tax: Cents(line.tax_cents),
            cost: Cents(line.cost_cents),
        },
        credited: so_far,
    })
}

async fn levels(
    tx: &impl ConnectionTrait,
    taxes: &[invoice_tax::Model],
) -> Result<Vec<CreditLevel>> {
    let rows = store::levels(tx, taxes.iter().map(|tax| tax.tax_level_id)).await?;
    taxes
        .iter()
        .map(|tax| {
            let row = rows.iter().find(|row| row.id == tax.tax_level_id);
            let level = pricing::level(row.ok_or_else(|| Error::internal("a tax level is gone"))?)?;
            Ok(CreditLevel {
                rate: level.rate,
                exempts: level.exempts,
                tax: Cents(tax.tax_cents),
            })
        })
        .collect()
}

/// A line of the credit note before its signs are turned.
fn row_of(line: &invoice_line::Model, amounts: &LineAmounts, how: Wanted) -> invoice_line::Model {
    let corrects_price = matches!(how, Wanted::Amount(_));
    let is_whole = amounts.quantity == line.quantity.0;
    let part_of = |whole: i64| -> Option<i64> {
        let share = Decimal::from(whole).checked_mul(amounts.quantity)?;
        share.checked_div(line.quantity.0)?.round().to_i64()
    };
    let minutes = line.labour_minutes.filter(|_| !corrects_price);
    invoice_line::Model {
        description: if corrects_price {
            format!("Lower price: {}", line.description)
        } else {
            line.description.clone()
        },
        quantity: if corrects_price {
            Exact(Decimal::ONE)
        } else {
            Exact(amounts.quantity)
        },
        unit_price_cents: if corrects_price {
            amounts.net.0
        } else {
            line.unit_price_cents
        },
        net_cents: amounts.net.0,
        discount_cents: amounts.discount.0,
        taxable_cents: amounts.taxable.0,
        tax_cents: amounts.tax.0,
        cost_cents: amounts.cost.0,
        labour_minutes: if is_whole {
            minutes
        } else {
            minutes
                .and_then(|whole| part_of(i64::from(whole)))
                .and_then(|part| i32::try_from(part).ok())
        },
        own_discount_cents: if is_whole { line.own_discount_cents } else { 0 },
        credits_line_id: Some(line.id),
        corrects_price,
        ..line.clone()
    }
}

fn refused(refusal: &CreditRefusal) -> Error {
    let too_much = |at: &usize, field: &str, left: String| {
        Error::refused(
            ProblemCode::TooMuch,
            format!("lines.{at}.{field}"),
            format!("Only {left} is left of this line."),
        )
    };
    match refusal {
        CreditRefusal::TooMany { at, left } => {
            too_much(at, "quantity", left.normalize().to_string())
        }
        CreditRefusal::TooMuch { at, left } => too_much(at, "amountOff", left.to_string()),
        CreditRefusal::BeyondBilled => Error::refused(
            ProblemCode::TooMuch,
            "lines",
            "This would give back more than the invoice asked for. Credit what it took off together with it.",
        ),
        other => Error::caused("credit note in part", other.clone()),
    }
}
