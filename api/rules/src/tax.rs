//! Sales tax on the lines of one document, with the reason for every line.
//!
//! The work has two steps, kept apart on purpose. First each line is *decided*: how much of it is
//! taxable, and why. Then the taxable amounts are *computed* by the jurisdiction's method and cut up
//! by line and by level. A rule that taxes part of a line, or looks at the other lines first, belongs in the
//! first step; a bracket table belongs in the second.
//! What must stay true: line taxes and level taxes each add up to the total; a credit for the same lines is the exact
//! negative; and no charge kind is taxed or left untaxed without a rule that says so.

use std::collections::BTreeMap;
use std::fmt;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::money::{
    Cents, MoneyRefusal, SpreadRefusal, largest_remainder, spread, spread_by_cents,
};
use crate::percent::{Percent, PercentRefusal};

pub use rounding::{BracketStep, BracketTable, section_324};

mod rounding;

/// What a line charges for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ChargeKind {
    /// A part.
    Part,
    /// Work on the machine.
    Labour,
    /// Getting there.
    Trip,
    /// Finding what is wrong.
    Diagnostic,
    /// Getting a part to the shop or the customer.
    Freight,
    /// Any other charge, such as disposal.
    Fee,
}

impl ChargeKind {
    /// Every kind, for screens and for checking that a jurisdiction has a rule for each.
    pub const ALL: [Self; 6] = [
        Self::Part,
        Self::Labour,
        Self::Trip,
        Self::Diagnostic,
        Self::Freight,
        Self::Fee,
    ];
}

impl fmt::Display for ChargeKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Part => "part",
            Self::Labour => "labour",
            Self::Trip => "trip",
            Self::Diagnostic => "diagnostic",
            Self::Freight => "freight",
            Self::Fee => "fee",
        })
    }
}

/// Rank of a taxing authority.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LevelKind {
    /// State.
    State,
    /// County.
    County,
    /// City.
    City,
    /// Special district.
    District,
}

/// One authority's rate and the days it is in force.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Level {
    /// Name as the return asks for it.
    pub name: String,
    /// Rank.
    pub kind: LevelKind,
    /// Rate per hundred.
    pub rate: Percent,
    /// First day in force; `None` for always.
    #[serde(default)]
    pub from_on: Option<NaiveDate>,
    /// Last day in force; `None` for open.
    #[serde(default)]
    pub until_on: Option<NaiveDate>,
}

/// Whether a kind of charge is taxed, and the rule's own words for it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Taxability {
    /// Taxed or not.
    pub taxable: bool,
    /// Why, for the customer and the auditor, such as "separately stated repair labour is exempt".
    pub reason: String,
}

/// What is rounded: each line, or the document.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// Each line is rounded, and the taxes are added.
    Item,
    /// The taxable lines are added, and the tax is rounded once.
    Invoice,
}

/// How an exact tax becomes whole cents.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// Carry to the third decimal, go up if it exceeds 4.
    #[default]
    Section324,
    /// Look the amount up in a table; the levels' rates only divide the result.
    Brackets(BracketTable),
}

/// A method and the day it begins to apply.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DatedMethod {
    /// First day.
    pub from_on: NaiveDate,
    /// The method.
    pub method: Method,
}

/// Where the sale is taxed, and how.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Jurisdiction {
    /// Name.
    pub name: String,
    /// Authorities, in the order they are reported.
    pub levels: Vec<Level>,
    /// Rule for each kind of charge.
    pub taxable: BTreeMap<ChargeKind, Taxability>,
    /// The shop's election, kept and used consistently.
    pub basis: Basis,
    /// Methods by date; before the first of them, and with none, [`Method::Section324`].
    #[serde(default)]
    pub methods: Vec<DatedMethod>,
}

/// A customer's exemption certificate on file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Exemption {
    /// Number or name of the certificate.
    pub certificate: String,
    /// Reason given on it.
    pub reason: String,
    /// First day it covers.
    pub from_on: NaiveDate,
    /// Last day it covers; `None` for open.
    pub until_on: Option<NaiveDate>,
}

/// A line to be taxed: what it charges for and its net after discount (negative for credits).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct TaxLine {
    /// What it charges for.
    pub kind: ChargeKind,
    /// Net after its share of discounts.
    pub net: Cents,
}

/// Tax of one line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineTax {
    /// Whether any of it was taxed.
    pub taxable: bool,
    /// How much of it was taxed.
    pub taxable_cents: Cents,
    /// The line's part of the total tax.
    pub tax_cents: Cents,
    /// A sentence: taxed or not, and why.
    pub reason: String,
}

/// Tax of one level.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LevelTax {
    /// Name of the authority.
    pub name: String,
    /// Rank.
    pub kind: LevelKind,
    /// Its rate on that day.
    pub rate: Percent,
    /// What it was charged on.
    pub taxable_cents: Cents,
    /// Its part of the total tax.
    pub tax_cents: Cents,
}

/// Tax of a document.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TaxResult {
    /// One for each line, in order.
    pub lines: Vec<LineTax>,
    /// One for each level in force on the day, in order.
    pub levels: Vec<LevelTax>,
    /// Sum of the lines' taxable amounts.
    pub taxable_cents: Cents,
    /// Sum of the lines' taxes, and of the levels' taxes.
    pub total_cents: Cents,
}

/// Why a document cannot be taxed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TaxRefusal {
    /// The jurisdiction does not say whether this kind is taxed.
    #[error("{jurisdiction} has no rule for {kind} charges: say whether they are taxed")]
    NoRule {
        jurisdiction: String,
        kind: ChargeKind,
    },
    /// The levels add up to an impossible rate.
    #[error(transparent)]
    Rate(#[from] PercentRefusal),
    /// A tax could not be cut up.
    #[error(transparent)]
    Spread(#[from] SpreadRefusal),
    /// A figure does not fit.
    #[error(transparent)]
    Money(#[from] MoneyRefusal),
}

/// Tax on the lines of one document.
///
/// Shape: lines, place, certificate and day, to tax by line and by level. Unit: whole cents. Rounding:
/// by the jurisdiction's method on its basis, on the levels' added rate; the parts by line and by level
/// are cut by largest remainder so that both add up to the total.
/// The day decides which levels, which method and whether the certificate count.
///
/// # Errors
/// `NoRule` for the first charge kind without a rule; `Rate` if the levels exceed 100 %; `Money`.
/// # Source
/// Streamlined Sales and Use Tax Agreement section 324; fixtures/worked/tax-rounding.json and tax-documents.json.
pub fn tax(
    lines: &[TaxLine],
    jurisdiction: &Jurisdiction,
    exemption: Option<&Exemption>,
    on: NaiveDate,
) -> Result<TaxResult, TaxRefusal> {
    let levels = jurisdiction.levels_on(on);
    let rate = Percent::sum(levels.iter().map(|level| level.rate))?;
    let decided = lines
        .iter()
        .map(|line| decide(*line, jurisdiction, rate, exemption, on))
        .collect::<Result<Vec<Decision>, TaxRefusal>>()?;
    let taxable: Vec<Cents> = decided
        .iter()
        .map(|decision| decision.taxable_cents)
        .collect();
    let taxable_cents = Cents::sum(taxable.iter().copied())?;
    let by_line = tax_by_line(
        &taxable,
        rate,
        jurisdiction.method_on(on),
        jurisdiction.basis,
    )?;
    let total_cents = Cents::sum(by_line.iter().copied())?;
    Ok(TaxResult {
        lines: decided
            .into_iter()
            .zip(by_line)
            .map(|(decision, tax_cents)| decision.with_tax(tax_cents))
            .collect(),
        levels: tax_by_level(&levels, taxable_cents, total_cents)?,
        taxable_cents,
        total_cents,
    })
}

impl Jurisdiction {
    /// Levels in force on a day, in order.
    #[must_use]
    pub fn levels_on(&self, on: NaiveDate) -> Vec<&Level> {
        let in_force = |level: &&Level| covers(level.from_on, level.until_on, on);
        self.levels.iter().filter(in_force).collect()
    }

    /// Method in force on a day: the one that began last.
    #[must_use]
    pub fn method_on(&self, on: NaiveDate) -> &Method {
        const OTHERWISE: &Method = &Method::Section324;
        self.methods
            .iter()
            .filter(|dated| dated.from_on <= on)
            .max_by_key(|dated| dated.from_on)
            .map_or(OTHERWISE, |dated| &dated.method)
    }
}

impl Exemption {
    /// Whether the certificate covers a day.
    #[must_use]
    pub fn covers(&self, on: NaiveDate) -> bool {
        covers(Some(self.from_on), self.until_on, on)
    }
}

fn covers(from_on: Option<NaiveDate>, until_on: Option<NaiveDate>, on: NaiveDate) -> bool {
    from_on.is_none_or(|from| from <= on) && until_on.is_none_or(|until| on <= until)
}

/// First step: how much of a line is taxable, and why.
struct Decision {
    taxable_cents: Cents,
    taxable: bool,
    reason: String,
}

impl Decision {
    fn with_tax(self, tax_cents: Cents) -> LineTax {
        LineTax {
            taxable: self.taxable,
            taxable_cents: self.taxable_cents,
            tax_cents,
            reason: self.reason,
        }
    }
}

fn decide(
    line: TaxLine,
    jurisdiction: &Jurisdiction,
    rate: Percent,
    exemption: Option<&Exemption>,
    on: NaiveDate,
) -> Result<Decision, TaxRefusal> {
    let place = &jurisdiction.name;
    let rule = jurisdiction
        .taxable
        .get(&line.kind)
        .ok_or_else(|| TaxRefusal::NoRule {
            jurisdiction: place.clone(),
            kind: line.kind,
        })?;
    let why = &rule.reason;
    let certificate = exemption.map(|held| (held, held.covers(on)));
    let (taxable, reason) = match (rule.taxable, certificate) {
        (false, _) => (false, format!("Not taxed in {place}: {why}.")),
        (true, Some((held, true))) => {
            let Exemption {
                certificate,
                reason,
                ..
            } = held;
            (
                false,
                format!("Not taxed: exemption certificate {certificate} ({reason})."),
            )
        }
        (true, Some((held, false))) => {
            let lapsed = not_covering(held, on);
            (
                true,
                format!("Taxed at {rate} % in {place}: {why}; {lapsed}."),
            )
        }
        (true, None) => (true, format!("Taxed at {rate} % in {place}: {why}.")),
    };
    let taxable_cents = if taxable { line.net } else { Cents::ZERO };
    Ok(Decision {
        taxable_cents,
        taxable,
        reason,
    })
}

fn not_covering(held: &Exemption, on: NaiveDate) -> String {
    let certificate = &held.certificate;
    match held.until_on {
        Some(until) if until < on => {
            format!("exemption certificate {certificate} ended on {until}")
        }
        _ => format!(
            "exemption certificate {certificate} begins on {}",
            held.from_on
        ),
    }
}

/// Second step: tax of each line by method and basis.
fn tax_by_line(
    taxable: &[Cents],
    rate: Percent,
    method: &Method,
    basis: Basis,
) -> Result<Vec<Cents>, TaxRefusal> {
    match basis {
        Basis::Item => taxable
            .iter()
            .map(|amount| Ok(method.tax_on(*amount, rate)?))
            .collect(),
        Basis::Invoice => {
            let together = Cents::sum(taxable.iter().copied())?;
            cut_by_line(method.tax_on(together, rate)?, taxable, rate)
        }
    }
}

/// Cuts the tax of a document by line, so that the lines add up to it.
///
/// With lines of one sign this is a plain spread. With both signs the weights may add up to almost
/// nothing and blow the shares up, so there each line keeps its exact tax, rounded to fit the total.
fn cut_by_line(total: Cents, taxable: &[Cents], rate: Percent) -> Result<Vec<Cents>, TaxRefusal> {
    let mixed = taxable.iter().any(|amount| amount.is_negative())
        && taxable.iter().any(|amount| *amount > Cents::ZERO);
    if !mixed {
        return Ok(spread_by_cents(total, taxable)?);
    }
    let mut exact = Vec::with_capacity(taxable.len());
    let mut denominator = 1;
    for amount in taxable {
        let (numerator, over) = rate.exact_of(*amount)?;
        exact.push(numerator);
        denominator = over;
    }
    largest_remainder(total, &exact, denominator).ok_or(TaxRefusal::Money(MoneyRefusal::TooLarge))
}

/// Cuts the tax of a document by level, in proportion to the rates.
fn tax_by_level(
    levels: &[&Level],
    taxable_cents: Cents,
    total_cents: Cents,
) -> Result<Vec<LevelTax>, TaxRefusal> {
    let rates: Vec<Decimal> = levels
        .iter()
        .map(|level| level.rate.per_hundred())
        .collect();
    let parts = spread(total_cents, &rates)?;
    let level_tax = |(level, tax_cents): (&&Level, Cents)| LevelTax {
        name: level.name.clone(),
        kind: level.kind,
        rate: level.rate,
        taxable_cents,
        tax_cents,
    };
    Ok(levels.iter().zip(parts).map(level_tax).collect())
}

impl Method {
    /// Tax on one amount, whichever sign it has.
    fn tax_on(&self, amount: Cents, rate: Percent) -> Result<Cents, MoneyRefusal> {
        match self {
            Self::Section324 => section_324(amount, rate),
            Self::Brackets(table) => table.tax_on(amount),
        }
    }
}

#[cfg(test)]
mod tests;
