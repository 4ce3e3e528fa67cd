//! Sales tax of some days: what was sold where, what of it was taxed and why not, the tax of each level, and what sales tax
//! payable says of it.

use std::collections::BTreeMap;

use nameplate_rules::money::Cents;
use nameplate_rules::tax::BY_CERTIFICATE;
use sea_orm::ConnectionTrait;

use crate::base::{Error, Result};

use super::Basis;
use super::cash::{self, LevelTax, add};
use super::store::Span;
use super::store::documents::{self, LevelBalance};

/// Sales that were not taxed, for one reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Untaxed {
    /// As the documents say.
    pub reason: String,
    /// Whether a certificate of the customer set them free, and not the rules of the place.
    pub by_certificate: bool,
    pub amount: Cents,
}

/// Sales of one place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlaceSales {
    pub tax_jurisdiction_id: i64,
    pub name: String,
    /// After discounts, before tax.
    pub gross: Cents,
    pub taxable: Cents,
    pub exempt: Cents,
    pub untaxed: Cents,
    /// What makes up the last two, the largest first.
    pub reasons: Vec<Untaxed>,
}

/// Tax of one level, and what sales tax payable says of it.
#[derive(Clone, Debug)]
pub struct LevelLiability {
    pub level: LevelBalance,
    /// What it taxed.
    pub taxable: Cents,
    /// Its tax on the basis asked for.
    pub tax: Cents,
    /// What the documents issued in these days say beyond that: billed and not paid yet, less what was paid of earlier ones;
    /// nothing on the accrual basis. Opening, tax, this and the other movement give the closing balance.
    pub not_collected: Cents,
    /// Movement of the account beside the documents issued in these days: payments to the authority, relief for bad
    /// debts, entries by hand.
    pub other: Cents,
}

/// Sales tax of some days.
#[derive(Clone, Debug)]
pub struct TaxLiability {
    pub places: Vec<PlaceSales>,
    pub levels: Vec<LevelLiability>,
}

/// A sale for one reason in one place: what was taxed of it and what was not.
struct ForReason {
    taxable: Cents,
    untaxed: Cents,
}

type Reasons = BTreeMap<(i64, String), ForReason>;

/// The liability of some days. Five statements, on the cash basis a few more for each thousand invoices that moved.
pub async fn tax_liability(
    db: &impl ConnectionTrait,
    span: Span,
    basis: Basis,
) -> Result<TaxLiability> {
    let issued: BTreeMap<i64, LevelTax> = documents::taxed(db, span)
        .await?
        .into_iter()
        .map(|row| {
            let tax = LevelTax {
                taxable: Cents(row.taxable_cents),
                tax: Cents(row.tax_cents),
            };
            (row.tax_level_id, tax)
        })
        .collect();
    let (reasons, counted) = match basis {
        Basis::Accrual => (issued_sales(db, span).await?, issued.clone()),
        Basis::Cash => paid_sales(db, span).await?,
    };
    let names = documents::jurisdictions(db).await?;
    let balances = documents::level_balances(db, span).await?;
    Ok(TaxLiability {
        places: places(names, reasons)?,
        levels: balances
            .into_iter()
            .map(|level| of_level(level, &issued, &counted))
            .collect::<Result<_>>()?,
    })
}

async fn issued_sales(db: &impl ConnectionTrait, span: Span) -> Result<Reasons> {
    let mut reasons = Reasons::new();
    for row in documents::sales(db, span).await? {
        let untaxed = Cents(row.sale_cents).checked_sub(Cents(row.taxable_cents));
        let of_it = ForReason {
            taxable: Cents(row.taxable_cents),
            untaxed: untaxed.ok_or_else(|| Error::internal("a sum is too large"))?,
        };
        reasons.insert((row.tax_jurisdiction_id, row.tax_reason), of_it);
    }
    Ok(reasons)
}

async fn paid_sales(
    db: &impl ConnectionTrait,
    span: Span,
) -> Result<(Reasons, BTreeMap<i64, LevelTax>)> {
    let cash = cash::cash(db, span).await?;
    let mut reasons = Reasons::new();
    for (sale, amount) in cash.sales {
        let of_it = reasons
            .entry((sale.tax_jurisdiction_id, sale.tax_reason))
            .or_insert(ForReason {
                taxable: Cents::ZERO,
                untaxed: Cents::ZERO,
            });
        let sum = if sale.taxed {
            &mut of_it.taxable
        } else {
            &mut of_it.untaxed
        };
        add(sum, amount)?;
    }
    Ok((reasons, cash.taxes))
}

fn places(names: Vec<(i64, String)>, reasons: Reasons) -> Result<Vec<PlaceSales>> {
    let mut places: Vec<PlaceSales> = names
        .into_iter()
        .map(|(tax_jurisdiction_id, name)| PlaceSales {
            tax_jurisdiction_id,
            name,
            gross: Cents::ZERO,
            taxable: Cents::ZERO,
            exempt: Cents::ZERO,
            untaxed: Cents::ZERO,
            reasons: Vec::new(),
        })
        .collect();
    for ((place_id, reason), of_it) in reasons {
        let place = places
            .iter_mut()
            .find(|place| place.tax_jurisdiction_id == place_id);
        let place = place.ok_or_else(|| Error::internal("a tax jurisdiction is gone"))?;
        add(&mut place.gross, of_it.taxable)?;
        add(&mut place.gross, of_it.untaxed)?;
        add(&mut place.taxable, of_it.taxable)?;
        if of_it.untaxed == Cents::ZERO {
            continue;
        }
        let by_certificate = reason.starts_with(BY_CERTIFICATE);
        let sum = if by_certificate {
            &mut place.exempt
        } else {
            &mut place.untaxed
        };
        add(sum, of_it.untaxed)?;
        place.reasons.push(Untaxed {
            reason,
            by_certificate,
            amount: of_it.untaxed,
        });
    }
    places.retain(|place| {
        place.gross != Cents::ZERO || place.taxable != Cents::ZERO || !place.reasons.is_empty()
    });
    for place in &mut places {
        place
            .reasons
            .sort_by(|a, b| b.amount.cmp(&a.amount).then(a.reason.cmp(&b.reason)));
    }
    Ok(places)
}

fn of_level(
    level: LevelBalance,
    issued: &BTreeMap<i64, LevelTax>,
    counted: &BTreeMap<i64, LevelTax>,
) -> Result<LevelLiability> {
    let at = |taxes: &BTreeMap<i64, LevelTax>| {
        taxes.get(&level.tax_level_id).copied().unwrap_or_default()
    };
    let counted = at(counted);
    let not_collected = at(issued).tax.checked_sub(counted.tax);
    let other = Cents(level.closing_cents)
        .checked_sub(Cents(level.opening_cents))
        .and_then(|moved| moved.checked_sub(at(issued).tax));
    Ok(LevelLiability {
        taxable: counted.taxable,
        tax: counted.tax,
        not_collected: not_collected.ok_or_else(|| Error::internal("a sum is too large"))?,
        other: other.ok_or_else(|| Error::internal("a sum is too large"))?,
        level,
    })
}
