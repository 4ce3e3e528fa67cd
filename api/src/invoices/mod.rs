//! Invoices, the credit notes that correct them, and the payments that settle them.
//!
//! Words: an *invoice* bills a call's accepted estimate; a *credit note* is the mirror image of one invoice;
//! a *payment* is money received, and an *allocation* says what part of it (or of a credit note) settles
//! which invoice; what settles nothing is the customer's *credit*. What must stay true: an issued document
//! never changes and hashes to what was issued; open = total less allocations; every document and payment
//! has its one entry in the books, posted in the same transaction.

mod certificates;
pub mod content;
pub mod graphql;
mod issue;
mod letter;
mod local;
mod mistakes;
mod operations;
mod payments;
mod store;
mod words;

pub use letter::letter;
pub use mistakes::{replace_tax_jurisdiction, withdraw_local_rules, withdraw_price_book};
pub use operations::{CreditInvoice, IssueInvoice, credit_invoice, issue_invoice};
pub use payments::{Excess, PaymentPart, RecordPayment, record_payment};
pub use store::{OpenRow, Owed, is_billed, open_now, open_on, owed_by};
