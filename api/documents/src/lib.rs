//! The papers a customer keeps: estimates, invoices and credit notes as PDF.
//!
//! Why a crate of its own: typesetting is the slowest thing to compile here and knows nothing of the
//! database, the books or the mail. It takes finished text and gives bytes.
//!
//! What stays true:
//! - A document is made of plain text. Amounts arrive formatted; nothing is added up or rounded here.
//! - Text reaches the typesetter as data in a virtual file and is never read as markup.
//! - The same input gives the same bytes. No clock, no network and no font of the machine is used.
//! - Every file is tagged PDF/UA-1 with a title, a language and its fonts inside.
//!
//! # Example
//! ```
//! use nameplate_documents::{EstimateDocument, estimate_pdf};
//! let document: EstimateDocument = serde_json::from_str(include_str!("../samples/estimate.json"))?;
//! let pdf = estimate_pdf(&document)?;
//! assert!(pdf.starts_with(b"%PDF-"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod dates;
mod model;
mod press;
mod wording;

pub use model::{
    ApplianceBlock, ClaimDocument, ClaimFact, CustomerBlock, DocumentLine, EstimateDocument,
    InvoiceDocument, InvoiceKind, OptionBlock, PaymentLine, Picture, PlateEntry, ReceiptDocument,
    ReceiptLine, ShopBlock, StatementDocument, StatementLine, TaxLine,
};
pub use press::warm_up;
pub use wording::unprintable_characters;

use serde::Serialize;
use serde_json::Value;

use dates::PrintedDate;
use press::{Order, Template};

/// Why a document could not be made.
#[derive(Debug, thiserror::Error)]
pub enum DocumentError {
    /// A date is not a day of the calendar written `YYYY-MM-DD`.
    #[error("{field} is \"{value}\"; write a calendar day as YYYY-MM-DD")]
    BadDate {
        /// The field that holds it.
        field: &'static str,
        /// What it holds.
        value: String,
    },
    /// The document could not be written as data for the template.
    #[error("the document could not be handed to the template")]
    Data(#[from] serde_json::Error),
    /// The typesetter or its fonts could not be set up.
    #[error("the typesetter could not be set up: {0}")]
    Setup(String),
    /// The template did not compile with this data.
    #[error("the document could not be typeset: {0}")]
    Typeset(String),
    /// The finished pages could not be written as an accessible PDF.
    #[error("the pages could not be written as PDF: {0}")]
    Export(String),
}

/// The estimate as a PDF on US Letter.
///
/// Shape: one frozen estimate to the bytes of one file; the same estimate gives the same bytes.
/// # Errors
/// [`DocumentError::BadDate`] if `issued_on` or `valid_until` is not `YYYY-MM-DD`; the other kinds mean a
/// fault in this crate.
pub fn estimate_pdf(document: &EstimateDocument) -> Result<Vec<u8>, DocumentError> {
    let issued = PrintedDate::read("issued_on", &document.issued_on)?;
    let mut data = Data::of(document)?;
    data.set(
        "title",
        title_of("Estimate", &document.number, &document.shop.name),
    );
    data.set("issued_on", issued.long());
    data.set_date("valid_until", document.valid_until.as_deref())?;
    press::print(&Order {
        template: Template::Estimate,
        data: data.0,
        issued: issued.day,
        pictures: document
            .pictures
            .iter()
            .map(|picture| picture.jpeg.clone())
            .collect(),
    })
}

/// The invoice or credit note as a PDF on US Letter.
///
/// Shape: one issued document to the bytes of one file; the same document gives the same bytes.
/// # Errors
/// [`DocumentError::BadDate`] if a date is not `YYYY-MM-DD`; the other kinds mean a fault in this crate.
pub fn invoice_pdf(document: &InvoiceDocument) -> Result<Vec<u8>, DocumentError> {
    let issued = PrintedDate::read("issued_on", &document.issued_on)?;
    let word = match document.kind {
        InvoiceKind::Invoice => "Invoice",
        InvoiceKind::CreditNote => "Credit note",
    };
    let mut data = Data::of(document)?;
    data.set(
        "title",
        title_of(word, &document.number, &document.shop.name),
    );
    data.set("word", word.to_owned());
    data.set("issued_on", issued.long());
    data.set_date("due_on", document.due_on.as_deref())?;
    data.set_date("service_on", document.service_on.as_deref())?;
    let days = document.payments.iter();
    let days = days.map(|payment| payment.received_on.as_str());
    data.set_dates("payments", "received_on", days)?;
    press::print(&Order {
        template: Template::Invoice,
        data: data.0,
        issued: issued.day,
        pictures: Vec::new(),
    })
}

/// The statement of account as a PDF on US Letter.
///
/// Shape: one statement to the bytes of one file; the same statement gives the same bytes.
/// # Errors
/// As [`invoice_pdf`].
pub fn statement_pdf(document: &StatementDocument) -> Result<Vec<u8>, DocumentError> {
    let until = PrintedDate::read("until", &document.until)?;
    let word = "Statement of account";
    let mut data = Data::of(document)?;
    data.set("title", title_of(word, &until.long(), &document.shop.name));
    data.set("word", word.to_owned());
    data.set("until", until.long());
    data.set_date("from", Some(&document.from))?;
    let days = document.lines.iter().map(|line| line.on.as_str());
    data.set_dates("lines", "on", days)?;
    press::print(&Order {
        template: Template::Statement,
        data: data.0,
        issued: until.day,
        pictures: Vec::new(),
    })
}

/// The receipt of a payment as a PDF on US Letter.
///
/// Shape: one payment to the bytes of one file; the same payment gives the same bytes.
/// # Errors
/// As [`invoice_pdf`].
pub fn receipt_pdf(document: &ReceiptDocument) -> Result<Vec<u8>, DocumentError> {
    let received = PrintedDate::read("received_on", &document.received_on)?;
    let word = "Receipt";
    let mut data = Data::of(document)?;
    data.set(
        "title",
        title_of(word, &document.number, &document.shop.name),
    );
    data.set("word", word.to_owned());
    data.set("received_on", received.long());
    press::print(&Order {
        template: Template::Receipt,
        data: data.0,
        issued: received.day,
        pictures: Vec::new(),
    })
}

/// Prints a claim on a warranty payer.
///
/// # Errors
/// As [`estimate_pdf`].
pub fn claim_pdf(document: &ClaimDocument) -> Result<Vec<u8>, DocumentError> {
    let dated = PrintedDate::read("dated_on", &document.dated_on)?;
    let mut data = Data::of(document)?;
    data.set(
        "title",
        title_of("Claim", &document.number, &document.shop.name),
    );
    data.set("dated_on", dated.long());
    press::print(&Order {
        template: Template::Claim,
        data: data.0,
        issued: dated.day,
        pictures: Vec::new(),
    })
}

/// A document's title as readers and screen readers announce it.
fn title_of(word: &str, number: &str, shop_name: &str) -> String {
    format!("{word} {number}, {shop_name}")
}

/// The document as JSON for its template, with dates put into words.
struct Data(Value);

impl Data {
    fn of(document: &impl Serialize) -> Result<Self, DocumentError> {
        Ok(Self(serde_json::to_value(document)?))
    }

    fn set(&mut self, field: &str, text: String) {
        if let Value::Object(fields) = &mut self.0 {
            fields.insert(field.to_owned(), Value::String(text));
        }
    }

    fn set_date(&mut self, field: &'static str, date: Option<&str>) -> Result<(), DocumentError> {
        if let Some(text) = date {
            let printed = PrintedDate::read(field, text)?;
            self.set(field, printed.long());
        }
        Ok(())
    }

    /// Puts the dates of a list's rows into words.
    fn set_dates<'a>(
        &mut self,
        list: &str,
        field: &'static str,
        days: impl Iterator<Item = &'a str>,
    ) -> Result<(), DocumentError> {
        let rows = self.0.get_mut(list).and_then(Value::as_array_mut);
        for (row, day) in rows.into_iter().flatten().zip(days) {
            let printed = PrintedDate::read(field, day)?;
            if let Value::Object(fields) = row {
                fields.insert(field.to_owned(), Value::String(printed.long()));
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
