//! Invoices, the credit notes that correct them, and the payments that settle them.
//!
//! Words: an *invoice* bills a call's accepted estimate, or its work without one, or lines without a call, or a charge
//! about another invoice; where several payers share a call, each is billed by an invoice of its own, and together they are
//! a *division*, which may follow a decision who pays and leave a part to the shop, billed to nobody; a *credit note* is the mirror image of one invoice, or of a
//! part of it; a *payment* is money received, and an *allocation* says what part of it (or of a credit note or a
//! write-off) settles which invoice, from which day on; what settles nothing is the customer's *credit*, and a *deposit*
//! is credit kept for one call. What must stay true: an issued document never changes and hashes to what was issued;
//! open = total less allocations, never below zero, on any day; credits of an invoice never exceed it, by line and by tax
//! level; every document and payment has its one entry in the books, posted in the same transaction.
//!
//! Folders follow the money: `issuing`, `crediting`, `receiving` (payments, deposits, credit, refunds, reversals),
//! `chasing` (reminders, late charges, disputes, write-offs, the shop's terms), `rests` (what a warranty payer left unpaid),
//! `telling` (letters, statements) and
//! `electronic` (files for machines).

mod chasing;
pub mod content;
mod crediting;
mod dated;
mod electronic;
pub mod graphql;
mod issuing;
mod receiving;
mod rests;
mod store;
mod telling;

pub use chasing::dispute::{DisputeInvoice, dispute_invoice, settle_dispute};
pub use chasing::late::{ChargeLateInvoices, charge_late_invoices, charge_what_is_late};
pub use chasing::reminding::{moot, remind_overdue};
pub use chasing::terms::{ChangeReceivableTerms, change_receivable_terms};
pub use chasing::undoing::{ComesIn, UndoWriteOff, recover, undo_write_off};
pub use chasing::writing_off::{WriteOffInvoice, write_off};
pub use crediting::{CreditInvoice, CreditedLine, give_back};
pub use dated::Dated;
pub use electronic::file as e_invoice;
pub use electronic::settings::{ChangeEInvoicing, change_e_invoicing};
pub use issuing::covering::ByCoverage;
pub use issuing::dividing::{Share, ShareOfLine};
pub use issuing::free::{IssueFreeInvoice, issue_free_invoice};
pub use issuing::mistakes::{replace_tax_jurisdiction, withdraw_local_rules, withdraw_price_book};
pub use issuing::rebilling::{RebillInvoice, rebill_invoice};
#[cfg(test)]
pub use issuing::testing::bill_a_payer;
pub use issuing::trips::paid_with as trip_paid_with;
pub use issuing::{IssueInvoice, bill_call, may_be_billed_as_done};
pub use receiving::banked::{
    AtBank, mark_banked_before, put_at_bank, unmark_banked_before, wait_again,
};
pub use receiving::credit::{
    AllocatePayment, ApplyCredit, RefundCredit, allocate, lay_credit, lay_payment, refund_credit,
};
pub use receiving::deposits::{RecordDeposit, record_deposit};
pub use receiving::freeing::{laid_on, take_credit_off, take_payment_off};
pub use receiving::reversing::{ReversePayment, reverse_payment};
pub use receiving::settling::hold;
pub use receiving::undoing_refund::undo_refund;
pub use receiving::{Excess, PaymentPart, RecordPayment, take_in};
pub use rests::{bear_rest, is_rest_borne, move_rest, undo_rest};
pub use store::{
    OpenRow, Owed, billed_by, get_invoice, get_payment, get_refund, has_standing_invoice,
    is_billed, issued_with, open_now, open_on, owed_by,
};
pub use telling::letter::{letter, overdue_letter, pdf};
pub use telling::receipt::{SendReceipt, receipt, receipt_letter, send_receipt};
pub use telling::resending::{ResendDocument, resend_document};
pub use telling::returned::returned_letter;
pub use telling::statement::{SendStatement, account, send_statement, statement_letter};
