//! One call billed to several payers: each an invoice of its own share, all in one transaction.
//!
//! What stays true: the shares add up to the sale, to the cent and by tax level, and what asks for the customer's
//! consent or for words on paper looks at the whole. Every payer is a customer on record, whatever makes it pay.

use std::collections::HashSet;

use nameplate_entities::{customer, invoice, invoice_division, invoice_line, invoice_tax};
use nameplate_rules::invoice::credit::LineAmounts;
use nameplate_rules::invoice::division::{
    DivisionRefusal, PayerPart, Portion, SaleLevel, SaleLine, Taking, divide,
};
use nameplate_rules::money::Cents;
use nameplate_rules::percent::Percent;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::{Act, Checks, Error, ProblemCode, Result};
use crate::invoices::store::{self, Billed};
use crate::{customers, pricing};

use super::sale::{self, Sale};
use super::shares::{self, Part, Whole};
use super::writing::Issue;

/// Most payers beside the call's customer; a call has two or three.
const PAYERS_MAX: usize = 10;
/// Most lines one payer names; a sale has fewer.
const LINES_MAX: usize = 200;

/// A payer beside the call's customer, and what falls to it.
#[derive(Clone, Debug, Serialize)]
pub struct Share {
    pub customer_id: i64,
    /// So much of a hundred of every line; without it, the lines that are named.
    pub percent: Option<Decimal>,
    pub lines: Vec<ShareOfLine>,
}

/// What falls to a payer of one line; all of it without a percentage and an amount.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct ShareOfLine {
    /// Its place among the lines as billed, from 1.
    pub position: i32,
    pub percent: Option<Decimal>,
    /// Of its price after discount, before tax.
    pub amount: Option<Cents>,
}

/// Holds the shares against what can be said without the sale.
pub fn check(checks: &mut Checks, shares: &[Share]) {
    if shares.len() > PAYERS_MAX {
        let message = format!("A call is divided over at most {PAYERS_MAX} further payers.");
        checks.refuse(ProblemCode::TooLong, "divide", message);
        return;
    }
    let mut payers = HashSet::new();
    for (at, share) in shares.iter().enumerate() {
        let path = |field: &str| format!("divide.{at}.{field}");
        if !payers.insert(share.customer_id) {
            let message = "This payer is named twice; add the two.";
            checks.refuse(ProblemCode::Malformed, &path("customerId"), message);
        }
        match (share.percent, share.lines.len()) {
            (None, 0) => {
                let message = "Say which lines this payer takes, or what part of every line.";
                checks.refuse(ProblemCode::Missing, &path("lines"), message);
            }
            (Some(_), 1..) => {
                let message = "Give a part of every line or name lines, one of the two.";
                checks.refuse(ProblemCode::Malformed, &path("percent"), message);
            }
            (_, count) if count > LINES_MAX => {
                let message = format!("A payer names at most {LINES_MAX} lines.");
                checks.refuse(ProblemCode::TooLong, &path("lines"), message);
            }
            _ => {}
        }
        check_percent(checks, &path("percent"), share.percent);
        for (place, line) in share.lines.iter().enumerate().take(LINES_MAX) {
            let path = |field: &str| format!("divide.{at}.lines.{place}.{field}");
            check_percent(checks, &path("percent"), line.percent);
            if line.percent.is_some() && line.amount.is_some() {
                let message = "Give a percentage or an amount, one of the two.";
                checks.refuse(ProblemCode::Malformed, &path("amount"), message);
            }
        }
    }
}

fn check_percent(checks: &mut Checks, path: &str, percent: Option<Decimal>) {
    if let Some(Err(refusal)) = percent.map(Percent::new) {
        checks.refuse(ProblemCode::OutOfRange, path, format!("{refusal}."));
    }
}

/// Bills a sale to the call's customer and these payers; the customer's own invoice is the first, if there is one.
///
/// # Errors
/// `NotFound` for a payer or line; `Malformed`, `TooMuch` or `WrongState` for shares that do not fit, at `divide`;
/// `PeriodClosed`.
pub async fn bill(
    tx: &impl ConnectionTrait,
    act: &Act,
    issue: &Issue<'_>,
    (sale, billed, shares): (Sale, &Billed, &[Share]),
) -> Result<Vec<invoice::Model>> {
    let payers = payers(tx, billed, shares).await?;
    let parts = parts(tx, &sale, shares).await?;
    let division = write(tx, act, (&sale, billed.call.id), none_borne()).await?;
    let whole = Whole {
        payers: parts.iter().filter(|part| !part.lines.is_empty()).count(),
        total: Cents(division.total_cents),
        shop: Cents::ZERO,
    };
    let consents = shares::consents_for_others(tx, issue.settings, (&sale, billed)).await?;
    let mut invoices = Vec::with_capacity(whole.payers);
    for (part, payer) in parts.into_iter().zip(payers) {
        if part.lines.is_empty() {
            continue;
        }
        let of = Part {
            settings: issue.settings,
            billed,
            payer: &payer,
            counted: Vec::new(),
            falls_to: &part,
        };
        let share = Sale {
            header: invoice::ActiveModel {
                division_id: Set(Some(division.id)),
                ..sale.header.clone()
            },
            rows: of.rows(&sale)?,
            words: of.words(&sale.words, &consents, &whole),
        };
        invoices.push(sale::bill(tx, act, issue, (share, &payer)).await?);
    }
    Ok(invoices)
}

/// The call's customer and then the payers named.
async fn payers(
    tx: &impl ConnectionTrait,
    billed: &Billed,
    shares: &[Share],
) -> Result<Vec<customer::Model>> {
    let mut payers = vec![billed.customer.clone()];
    for (at, share) in shares.iter().enumerate() {
        let path = format!("divide.{at}.customerId");
        if share.customer_id == billed.customer.id {
            let message = "The call's customer takes what nobody else does; leave it out here.";
            return Err(Error::refused(ProblemCode::Malformed, path, message));
        }
        payers.push(customers::get_customer(tx, &path, share.customer_id).await?);
    }
    Ok(payers)
}

async fn parts(tx: &impl ConnectionTrait, sale: &Sale, shares: &[Share]) -> Result<Vec<PayerPart>> {
    let lines = lines(sale);
    let levels = levels(tx, &sale.rows.taxes).await?;
    let (takings, paths) = takings(shares, &lines)?;
    divide(&lines, &levels, (shares.len() + 1, &takings))
        .map_err(|refusal| refused(refusal, &paths))
}

/// The lines of a sale as the rule knows them.
pub fn lines(sale: &Sale) -> Vec<SaleLine> {
    let shown = &sale.words.printed_as.with_tax;
    let lines = sale.rows.lines.iter().enumerate();
    lines
        .map(|(at, row)| SaleLine {
            kind: pricing::charge_of_row(row.kind),
            amounts: LineAmounts {
                quantity: row.quantity.0,
                net: Cents(row.net_cents),
                discount: Cents(row.discount_cents),
                taxable: Cents(row.taxable_cents),
                tax: Cents(row.tax_cents),
                cost: Cents(row.cost_cents),
            },
            own_discount: Cents(row.own_discount_cents),
            shown: shown.get(at).copied(),
        })
        .collect()
}

/// Its tax levels as the rule knows them.
///
/// # Errors
/// Internal only.
pub async fn levels(
    tx: &impl ConnectionTrait,
    taxes: &[invoice_tax::Model],
) -> Result<Vec<SaleLevel>> {
    let rows = store::levels(tx, taxes.iter().map(|tax| tax.tax_level_id)).await?;
    taxes
        .iter()
        .map(|tax| {
            let row = rows.iter().find(|row| row.id == tax.tax_level_id);
            let level = pricing::level(row.ok_or_else(|| Error::internal("a tax level is gone"))?)?;
            Ok(SaleLevel {
                rate: level.rate,
                exempts: level.exempts,
                taxable: Cents(tax.taxable_cents),
                tax: Cents(tax.tax_cents),
            })
        })
        .collect()
}

/// Where something that is taken stands in the input: its line, and what says how much of it.
struct At {
    line: String,
    portion: String,
}

/// What each payer takes, and where each of it stands in the input.
fn takings(shares: &[Share], lines: &[SaleLine]) -> Result<(Vec<Taking>, Vec<At>)> {
    let portion = |percent: Option<Decimal>, amount: Option<Cents>| -> Result<Portion> {
        Ok(match (percent, amount) {
            (Some(percent), _) => Portion::Percent(
                Percent::new(percent).map_err(|refusal| Error::caused("share", refusal))?,
            ),
            (None, Some(amount)) => Portion::Amount(amount),
            (None, None) => Portion::Whole,
        })
    };
    let (mut takings, mut paths) = (Vec::new(), Vec::new());
    for (at, share) in shares.iter().enumerate() {
        let payer = at + 1;
        if share.percent.is_some() {
            for line in 0..lines.len() {
                takings.push(Taking {
                    payer,
                    line,
                    portion: portion(share.percent, None)?,
                });
                let path = format!("divide.{at}.percent");
                paths.push(At {
                    line: path.clone(),
                    portion: path,
                });
            }
            continue;
        }
        for (place, line) in share.lines.iter().enumerate() {
            let before = line.position.checked_sub(1);
            takings.push(Taking {
                payer,
                // What lies before the first is no line, and the rule says so.
                line: before
                    .and_then(|before| usize::try_from(before).ok())
                    .unwrap_or(usize::MAX),
                portion: portion(line.percent, line.amount)?,
            });
            let path = |field: &str| format!("divide.{at}.lines.{place}.{field}");
            paths.push(At {
                line: path("position"),
                portion: path(match (line.percent, line.amount) {
                    (Some(_), _) => "percent",
                    (None, Some(_)) => "amount",
                    (None, None) => "position",
                }),
            });
        }
    }
    Ok((takings, paths))
}

fn refused(refusal: DivisionRefusal, paths: &[At]) -> Error {
    let path = |at: usize, of: fn(&At) -> &String| {
        let path = paths.get(at).map(of);
        path.map_or_else(|| "divide".to_owned(), String::clone)
    };
    let of_payer = |payer: usize| match payer.checked_sub(1) {
        Some(at) => format!("divide.{at}"),
        None => "divide".to_owned(),
    };
    let (code, path) = match &refusal {
        DivisionRefusal::NoSuchLine { at } => (ProblemCode::NotFound, path(*at, |at| &at.line)),
        DivisionRefusal::TakenTwice { at } => (ProblemCode::Malformed, path(*at, |at| &at.line)),
        DivisionRefusal::NotAPortion { at } => {
            (ProblemCode::OutOfRange, path(*at, |at| &at.portion))
        }
        DivisionRefusal::TooMuch { at, .. } => (ProblemCode::TooMuch, path(*at, |at| &at.portion)),
        DivisionRefusal::NothingFor { payer } | DivisionRefusal::BelowZero { payer } => {
            (ProblemCode::WrongState, of_payer(*payer))
        }
        DivisionRefusal::Money(_) => return Error::caused("division", refusal),
    };
    let words = match &refusal {
        DivisionRefusal::NothingFor { .. } => "Nothing of this call falls to this payer; leave it out here.".to_owned(),
        DivisionRefusal::BelowZero { payer: 0 } => {
            "What is left for the call's customer is below zero. Give the reductions to whoever takes what they reduce."
                .to_owned()
        }
        DivisionRefusal::BelowZero { .. } => {
            "What falls to this payer is below zero. Give the reductions to whoever takes what they reduce.".to_owned()
        }
        DivisionRefusal::TooMuch { left, .. } => {
            format!("Only {left} of this line is left for this payer, after discount and before tax.")
        }
        _ => {
            let words = refusal.to_string();
            let mut letters = words.chars();
            letters.next().map_or_else(String::new, |first| {
                format!("{}{}.", first.to_uppercase(), letters.as_str())
            })
        }
    };
    Error::refused(code, path, words)
}

/// A division of which the shop bears nothing.
fn none_borne() -> invoice_division::ActiveModel {
    invoice_division::ActiveModel {
        shop_cents: Set(0),
        shop_net_cents: Set(0),
        shop_discount_cents: Set(0),
        shop_tax_cents: Set(0),
        ..Default::default()
    }
}

/// Writes down that a sale is divided; `borne` says by what, and what of it the shop bears.
///
/// # Errors
/// Internal only.
pub async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    (sale, call_id): (&Sale, i64),
    borne: invoice_division::ActiveModel,
) -> Result<invoice_division::Model> {
    let sum = |of: fn(&invoice_line::Model) -> i64| {
        Cents::sum(sale.rows.lines.iter().map(|line| Cents(of(line))))
            .map_err(|refusal| Error::caused("sum of a sale", refusal))
    };
    let division = invoice_division::ActiveModel {
        call_id: Set(call_id),
        net_cents: Set(sum(|line| line.net_cents)?.0),
        discount_cents: Set(sum(|line| line.discount_cents)?.0),
        tax_cents: Set(sum(|line| line.tax_cents)?.0),
        total_cents: Set(sale.rows.amounts()?.with_tax.0),
        divided_at: Set(act.at),
        ..borne
    };
    Ok(division.insert(tx).await?)
}
