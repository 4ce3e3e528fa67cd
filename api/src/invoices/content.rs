//! What an issued document says, frozen beside its rows.
//!
//! The stored text is what was hashed; `verify` reads it back and holds it against the rows. A field that is
//! added must have a default, so that older documents can still be read.

use chrono::NaiveDate;
use nameplate_entities::kinds::ReceivableKind;
use nameplate_entities::{invoice, invoice_line, invoice_tax, tax_level};
use nameplate_rules::estimate::{
    ApplianceBlock, CustomerBlock, Line, PrintedAs, Rating, ShopBlock, TaxLevel,
};
use nameplate_rules::invoice::{InvoiceDraft, Payer, Totals};
use nameplate_rules::money::Cents;
use nameplate_rules::percent::Percent;
use serde::{Deserialize, Serialize};

use crate::base::{Error, Result, secret};
use crate::{estimates, pricing};

/// Everything an invoice or credit note says, as it was issued.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Content {
    /// Invoice or credit note.
    pub kind: ReceivableKind,
    pub number: String,
    pub issued_on: NaiveDate,
    pub due_on: NaiveDate,
    /// ISO 4217 code of every amount.
    pub currency: String,
    pub shop: ShopBlock,
    pub customer: CustomerBlock,
    pub appliance: ApplianceBlock,
    /// Its rated data, in the order of printing.
    pub ratings: Vec<Rating>,
    /// Number of the call that is billed.
    pub call_number: String,
    /// Day the work was done, if it was when the invoice was issued.
    pub service_on: Option<NaiveDate>,
    /// The accepted estimate, such as `E-000012, revision 2`.
    pub estimate: String,
    /// Credit note only: number of the invoice it takes back.
    pub corrects: Option<String>,
    /// Why it was credited, or charged.
    pub reason: Option<String>,
    /// The problem in the customer's own words.
    pub complaint: String,
    /// What was found.
    pub found: String,
    pub lines: Vec<Line>,
    pub tax_levels: Vec<TaxLevel>,
    pub totals: Totals,
    /// The shop's own warranty on this work.
    pub warranty: String,
    /// Consents to more than was accepted, one sentence each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub consents: Vec<String>,
    /// Lines that the local rules want, one paragraph each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub local_lines: Vec<String>,
    /// For one of several payers of a call: which share this is.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub share: String,
    /// How the lines are printed, where that is not one by one before tax.
    #[serde(default, skip_serializing_if = "PrintedAs::is_plain")]
    pub printed_as: PrintedAs,
}

impl Content {
    /// The text that is stored and hashed: JSON without blanks.
    ///
    /// # Errors
    /// Internal only.
    pub fn canonical_json(&self) -> Result<String> {
        serde_json::to_string(self).map_err(|error| Error::caused("invoice content", error))
    }

    /// What a document's row keeps.
    ///
    /// # Errors
    /// Internal, for text that is no content.
    pub fn of(row: &invoice::Model) -> Result<Self> {
        serde_json::from_str(&row.content_json)
            .map_err(|error| Error::caused("invoice content", error))
    }

    /// The checked lines, taxes and totals.
    ///
    /// # Errors
    /// Internal, for content that does not add up.
    pub fn draft(&self) -> Result<InvoiceDraft> {
        InvoiceDraft::new(Payer::Customer, self.lines.clone(), self.tax_levels.clone())
            .map_err(|refusal| Error::caused("invoice content", refusal))
    }
}

/// The hash of a stored content.
pub fn hash_of(content_json: &str) -> String {
    secret::hash(content_json)
}

/// A line's row as the document says it.
pub fn line(row: &invoice_line::Model) -> Line {
    Line {
        kind: pricing::charge_of_row(row.kind),
        description: row.description.clone(),
        quantity: if row.is_part {
            row.quantity.0.normalize().to_string()
        } else {
            printed_quantity(row)
        },
        unit_price: Cents(row.unit_price_cents),
        net: Cents(row.net_cents),
        discount: Cents(row.discount_cents),
        taxable: Cents(row.taxable_cents),
        tax: Cents(row.tax_cents),
        tax_reason: row.tax_reason.clone(),
        section: String::new(),
        condition: row.part_condition.map(pricing::condition_of_row),
        own_discount: Some(Cents(row.own_discount_cents)).filter(|off| *off != Cents::ZERO),
    }
}

/// A tax's row as the document says it. The level tells its rank.
///
/// # Errors
/// Internal, for a rate that is no percentage.
pub fn tax(row: &invoice_tax::Model, level: &tax_level::Model) -> Result<TaxLevel> {
    Ok(TaxLevel {
        name: row.name.clone(),
        kind: pricing::level_of_row(level.kind),
        rate: Percent::new(row.rate_percent.0)
            .map_err(|refusal| Error::caused("tax rate", refusal))?,
        taxable: Cents(row.taxable_cents),
        tax: Cents(row.tax_cents),
    })
}

/// A quantity as its estimate prints it, with the sign of a credit in front.
fn printed_quantity(row: &invoice_line::Model) -> String {
    let quantity = row.quantity.0;
    let minutes = row.labour_minutes.map(i32::saturating_abs);
    let printed = estimates::printed_quantity(row.kind, quantity.abs(), minutes);
    if quantity.is_sign_negative() {
        format!("-{printed}")
    } else {
        printed
    }
}
