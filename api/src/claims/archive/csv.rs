//! A claim as rows, one for each charge, for payers that read tables.

use nameplate_rules::money::Cents;

use super::Content;
use crate::base::{Error, Result};

const COLUMNS: [&str; 22] = [
    "claim",
    "programme",
    "contract",
    "payer_reference",
    "call",
    "invoice",
    "make",
    "model",
    "serial",
    "failed_on",
    "completed_on",
    "position",
    "kind",
    "description",
    "part_number",
    "quantity",
    "labour_minutes",
    "unit_price",
    "net",
    "discount",
    "tax",
    "currency",
];

/// The file: RFC 4180, UTF-8, amounts as plain decimals.
///
/// # Errors
/// Internal only.
pub fn of(content: &Content) -> Result<Vec<u8>> {
    let mut writer = ::csv::WriterBuilder::new()
        .terminator(::csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(COLUMNS).map_err(unwritten)?;
    for line in &content.lines {
        let machine = &content.appliance;
        let minutes = line.labour_minutes.map(|minutes| minutes.to_string());
        let completed = content.call.completed_on.map(|day| day.to_string());
        let texts = [
            text(&content.number),
            text(&content.programme),
            text(content.cover.contract_number.as_deref().unwrap_or_default()),
            text(content.payer_reference.as_deref().unwrap_or_default()),
            text(&content.call.number),
            text(&content.invoice.number),
            text(&machine.make),
            text(&machine.model),
            text(machine.serial.as_deref().unwrap_or_default()),
            content.call.failed_on.to_string(),
            completed.unwrap_or_default(),
            line.position.to_string(),
            text(&line.kind),
            text(&line.description),
            text(line.part_number.as_deref().unwrap_or_default()),
            line.quantity.clone(),
            minutes.unwrap_or_default(),
        ];
        let amounts = [
            line.unit_price_cents,
            line.net_cents,
            line.discount_cents,
            line.tax_cents,
        ];
        let amounts = amounts.map(|cents| Cents(cents).to_string());
        let row = texts.into_iter().chain(amounts);
        let row = row.chain([content.currency.clone()]);
        writer.write_record(row).map_err(unwritten)?;
    }
    writer
        .into_inner()
        .map_err(|_| Error::internal("a claim could not be written to memory"))
}

fn unwritten(error: ::csv::Error) -> Error {
    Error::caused("rows of a claim", error)
}

/// A text that no spreadsheet takes for a formula.
fn text(value: &str) -> String {
    match value.chars().next() {
        Some('=' | '+' | '-' | '@' | '\t' | '\r') => format!("'{value}"),
        _ => value.to_owned(),
    }
}
