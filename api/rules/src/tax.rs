//! Sales tax on the lines of one document, with the reason for every line.
//!
//! The work has two steps, kept apart on purpose. First each line is *decided*: how much of it is
//! taxable, and why (`decide`, by the place's `rules` and the customer's `certificate`). Then the taxable amounts are
//! *computed* by the jurisdiction's method and cut up by line and by level (`compute`, `rounding`).
//! What must stay true: line taxes and level taxes each add up to the total; a credit for the same lines is the exact
//! negative; and no charge kind is taxed or left untaxed without a rule that says so.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal, SpreadRefusal};
use crate::percent::{Percent, PercentRefusal};

pub use bracketed::{LevelFault, LevelProblem, check_bracketed};
pub use certificate::{Buyer, Certificate, Purchases, Standing};
pub use check::{RuleFault, RuleProblem, check_rules};
pub use compute::{contained, without_tax};
pub use decide::BY_CERTIFICATE;
pub use place::{
    Basis, ChargeKind, Counted, DatedMethod, Jurisdiction, Level, LevelKind, Method, OverCeiling,
    Prices, over_ceiling,
};
pub use rate_file::{RateCode, RateCodeRefusal, RateFault, RateRow, read_rates};
pub use rounding::{BracketStep, BracketTable, TableFault, section_324};
pub use rules::{
    Carrier, Delivery, Facts, LineFact, Material, Outcome, Rule, Serves, StatedAs, Treatment, When,
};

mod bracketed;
mod certificate;
mod check;
mod compute;
mod decide;
mod place;
mod rate_file;
mod rounding;
mod rules;

/// A line to be taxed: what it charges for, its net after discount (negative for credits), and its own facts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct TaxLine {
    /// What it charges for.
    pub kind: ChargeKind,
    /// Net after its share of discounts; where prices hold the tax, with it.
    pub net: Cents,
    /// For a trip: what it serves, if that is known.
    #[serde(default)]
    pub trip_serves: Option<Serves>,
    /// For freight: how the goods are delivered, if that is known.
    #[serde(default)]
    pub delivery: Option<Delivery>,
    /// Whether it replaces something under warranty; its net is what the customer pays in addition.
    #[serde(default)]
    pub under_warranty: bool,
}

impl TaxLine {
    /// A line of which nothing more is known.
    #[must_use]
    pub const fn new(kind: ChargeKind, net: Cents) -> Self {
        Self {
            kind,
            net,
            trip_serves: None,
            delivery: None,
            under_warranty: false,
        }
    }
}

/// When and how the lines are sold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sale {
    /// The day, which decides on levels, rules, method and certificate.
    pub on: NaiveDate,
    /// What rules may ask about it.
    #[serde(default)]
    pub facts: Facts,
}

impl Sale {
    /// A repair on a day, its charges stated separately, with no other fact known.
    #[must_use]
    pub fn of_day(on: NaiveDate) -> Self {
        Self {
            on,
            facts: Facts::default(),
        }
    }
}

/// Tax of one line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineTax {
    /// Whether any of it was taxed.
    pub taxable: bool,
    /// How much of it was taxed, the tax itself not counted.
    pub taxable_cents: Cents,
    /// The line's part of the total tax.
    pub tax_cents: Cents,
    /// A sentence: taxed or not, and why.
    pub reason: String,
}

/// Tax of one level.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LevelTax {
    /// Its place among the jurisdiction's levels.
    pub at: usize,
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
    /// Whether the lines' nets hold the tax.
    pub prices: Prices,
    /// Whether a rule wants parts stated apart from labour, which the sale does not do.
    pub parts_to_be_stated: bool,
    /// Whether the certificate set any of it free.
    pub certificate_used: bool,
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
    /// A rule asks for a fact of a line, counted from 0, that nobody gave.
    #[error("the tax rules ask {fact}")]
    FactMissing { line: usize, fact: LineFact },
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
/// Shape: lines, place, certificate and sale, to tax by line and by level. Unit: whole cents. Rounding:
/// by the jurisdiction's method on its basis, on the added rate of the levels that tax a kind; the parts by line and
/// by level are cut by largest remainder so that both add up to the total.
///
/// # Errors
/// `NoRule` and `FactMissing` for the first line at fault; `Rate` if the levels exceed 100 %; `Money`.
/// # Source
/// Streamlined Sales and Use Tax Agreement section 324; EN 16931-1 rules BR-S-08, BR-CO-17 and BR-CO-14 for the
/// invoice basis; fixtures/worked/tax-*.json.
pub fn tax(
    lines: &[TaxLine],
    place: &Jurisdiction,
    certificate: Option<&Certificate>,
    sale: &Sale,
) -> Result<TaxResult, TaxRefusal> {
    let decided = decide::decide(lines, place, certificate, sale)?;
    let amounts = decided
        .iter()
        .map(|decision| decision.taxable_cents)
        .collect::<Vec<_>>();
    let computed = compute::compute(lines, &amounts, place, sale)?;
    let parts_to_be_stated = sale.facts.stated == StatedAs::LumpSum
        && decided.iter().any(|decision| decision.parts_apart);
    let certificate_used = decided.iter().any(|decision| decision.exempted);
    let taxable_cents = Cents::sum(computed.taxable.iter().copied())?;
    let total_cents = Cents::sum(computed.taxes.iter().copied())?;
    let lines = decided
        .into_iter()
        .zip(computed.taxable)
        .zip(computed.taxes)
        .map(|((decision, taxable_cents), tax_cents)| LineTax {
            taxable: decision.taxable,
            taxable_cents,
            tax_cents,
            reason: decision.reason,
        })
        .collect();
    Ok(TaxResult {
        lines,
        levels: computed.levels,
        taxable_cents,
        total_cents,
        prices: place.prices,
        parts_to_be_stated,
        certificate_used,
    })
}

#[cfg(test)]
mod case_tests;
#[cfg(test)]
mod fault_tests;
#[cfg(test)]
mod tests;
