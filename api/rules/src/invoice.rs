//! Invoices before they are issued, their exact mirror as a credit note, and what is owed on them.
//!
//! An issued document never changes, so a mistake is undone by its mirror: the same lines with the
//! other sign. One call may bill several payers; each gets its own document.
//! What must stay true: lines and tax levels add up to the totals, an invoice and its whole credit add up
//! to nothing line by line and level by level, and the shares of a line's payers add up to the line.

use serde::{Deserialize, Serialize};

use crate::estimate::{Line, TaxLevel};
use crate::money::{Cents, MoneyRefusal};

pub use payment::{
    AgeBracket, Ageing, Allocation, AllocationRefusal, OpenItem, TermsRefusal, age_bracket, ageing,
    allocate, check_allocation, due_on,
};

pub mod credit;
pub mod division;
pub mod en16931;
pub mod late;
mod payment;

/// Who owes a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Payer {
    /// The customer.
    Customer,
    /// Whoever stands behind a warranty programme.
    WarrantyPayer,
    /// The shop itself.
    Shop,
}

/// The totals of a document.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Totals {
    /// Sum of the lines' nets, before discount.
    pub subtotal: Cents,
    /// Sum of the lines' discounts.
    pub discount: Cents,
    /// Sum of the lines' taxes, and of the levels'.
    pub tax: Cents,
    /// Subtotal less discount plus tax.
    pub total: Cents,
}

/// An invoice, or the credit of one, before it has a number. Checked: it always adds up.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct InvoiceDraft {
    payer: Payer,
    lines: Vec<Line>,
    tax_levels: Vec<TaxLevel>,
    totals: Totals,
}

/// Why a document cannot be drawn up.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum InvoiceRefusal {
    /// A document without lines.
    #[error("an invoice needs at least one line")]
    NoLines,
    /// The tax of the levels is not the tax of the lines.
    #[error("the lines carry {by_line} of tax, but the levels {by_level}")]
    LevelsDiffer { by_line: Cents, by_level: Cents },
    /// A sum does not fit.
    #[error(transparent)]
    Money(#[from] MoneyRefusal),
}

impl InvoiceDraft {
    /// Draws up a document and adds up its totals.
    ///
    /// # Errors
    /// `NoLines`, `LevelsDiffer`, `Money`.
    /// # Source
    /// EN 16931-1 rules BR-CO-10, -11, -13, -14, -15.
    pub fn new(
        payer: Payer,
        lines: Vec<Line>,
        tax_levels: Vec<TaxLevel>,
    ) -> Result<Self, InvoiceRefusal> {
        if lines.is_empty() {
            return Err(InvoiceRefusal::NoLines);
        }
        let by_line = |amount: fn(&Line) -> Cents| Cents::sum(lines.iter().map(amount));
        let subtotal = by_line(|line| line.net)?;
        let discount = by_line(|line| line.discount)?;
        let tax = by_line(|line| line.tax)?;
        let by_level = Cents::sum(tax_levels.iter().map(|level| level.tax))?;
        if tax != by_level {
            return Err(InvoiceRefusal::LevelsDiffer {
                by_line: tax,
                by_level,
            });
        }
        let total = subtotal
            .checked_sub(discount)
            .and_then(|before_tax| before_tax.checked_add(tax))
            .ok_or(MoneyRefusal::TooLarge)?;
        let totals = Totals {
            subtotal,
            discount,
            tax,
            total,
        };
        Ok(Self {
            payer,
            lines,
            tax_levels,
            totals,
        })
    }

    /// Who owes it.
    #[must_use]
    pub const fn payer(&self) -> Payer {
        self.payer
    }

    /// Its lines.
    #[must_use]
    pub fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// Its tax by level.
    #[must_use]
    pub fn tax_levels(&self) -> &[TaxLevel] {
        &self.tax_levels
    }

    /// Its totals.
    #[must_use]
    pub const fn totals(&self) -> Totals {
        self.totals
    }
}

/// The credit of a whole document: every line, level and total with the other sign.
///
/// Nothing is computed again, so no rounding can differ. The sign goes to the quantity and the
/// amounts; unit prices stay as they are. The mirror of a mirror is the document.
///
/// # Errors
/// `Money` for an amount that has no negative.
/// # Source
/// CEN EN 16931 examples `BIS3_Invoice_positive.XML` and `BIS3_Invoice_negativ.XML`.
pub fn mirror(document: &InvoiceDraft) -> Result<InvoiceDraft, InvoiceRefusal> {
    let lines = document
        .lines
        .iter()
        .map(mirror_line)
        .collect::<Option<Vec<Line>>>();
    let levels = document
        .tax_levels
        .iter()
        .map(mirror_level)
        .collect::<Option<Vec<TaxLevel>>>();
    let (lines, levels) = lines.zip(levels).ok_or(MoneyRefusal::TooLarge)?;
    InvoiceDraft::new(document.payer, lines, levels)
}

fn mirror_line(line: &Line) -> Option<Line> {
    let quantity = match line.quantity.strip_prefix('-') {
        Some(positive) => positive.to_owned(),
        None => format!("-{}", line.quantity),
    };
    Some(Line {
        quantity,
        net: line.net.checked_neg()?,
        discount: line.discount.checked_neg()?,
        own_discount: match line.own_discount {
            Some(off) => Some(off.checked_neg()?),
            None => None,
        },
        taxable: line.taxable.checked_neg()?,
        tax: line.tax.checked_neg()?,
        ..line.clone()
    })
}

fn mirror_level(level: &TaxLevel) -> Option<TaxLevel> {
    Some(TaxLevel {
        taxable: level.taxable.checked_neg()?,
        tax: level.tax.checked_neg()?,
        ..level.clone()
    })
}

/// What is still owed: total less what was paid or credited, plus the cash rounding of the document.
///
/// A deposit is paid, never a negative line. Below zero means that too much was paid.
///
/// # Errors
/// `Money` if the figure does not fit.
/// # Source
/// EN 16931-1 rule BR-CO-16; fixtures/worked/amount-due.json.
pub fn amount_due(total: Cents, paid: Cents, rounding: Cents) -> Result<Cents, MoneyRefusal> {
    total
        .checked_sub(paid)
        .and_then(|open| open.checked_add(rounding))
        .ok_or(MoneyRefusal::TooLarge)
}

#[cfg(test)]
mod tests;
