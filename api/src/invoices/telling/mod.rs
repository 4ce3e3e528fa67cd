//! What customers are told: documents as mails with their PDF, once more when asked for, statements of account, receipts,
//! and that a payment came back.

pub mod letter;
pub mod receipt;
pub mod resending;
pub mod returned;
pub mod statement;

use crate::shop::Settings;

/// How an invoice, by its number, is paid: in the shop's own words, else by what every shop takes.
fn how_to_pay(settings: &Settings, number: &str) -> String {
    let words = settings.row.payment_instructions.as_deref();
    let words = words.unwrap_or("By check to the address above, or call us.");
    format!("{words} Please name invoice {number}.")
}
