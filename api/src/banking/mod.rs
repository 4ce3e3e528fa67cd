//! Banking: what was received goes to a bank, and the bank's statement is held against the books.
//!
//! Words: a *deposit* here is a slip of receipts that go to one account at a bank together (a customer's deposit for a
//! call is in `invoices`); a payment *waits* until it is on one. A *line* is one movement as the bank wrote it, a *match*
//! says which lines and which postings of the bank's account are the same money, and a *reconciliation* that the books
//! agree with the bank through a day. What must stay true: a payment is on one standing deposit at most, and never on one
//! before the day it was received; receipts not yet banked are the payments that wait, and what entries by hand took to a
//! bank before there were deposits is marked so, at most as much as these took; a deposit has its one entry in the
//! books, and one more when it is undone. A line and a posting are in one match at most, and its sums are equal; nothing
//! is matched by itself; a reconciled balance is the sum of the postings matched through its day, and stays so, as these
//! matches are frozen and entries are never edited: what is dated back later is outstanding.

pub mod graphql;
mod importing;
mod layouts;
mod operations;
mod proposing;
mod store;

pub use importing::{Imported, Purpose, ReadLine, Taken, import_statement, take_back_statement};
pub use layouts::{BankColumns, SaveBankLayout, save_bank_layout};
pub use operations::before::{
    BankedBefore, MarkBankedBefore, UnmarkBankedBefore, banked_by_hand, mark_banked_before,
    unmark_banked_before,
};
pub use operations::booking::{
    BookBankLine, Split, StartBankAccount, book_bank_line, start_bank_account,
};
pub use operations::deposits::{
    BankReceipts, BankedPayment, UndoDeposit, bank_receipts, undo_deposit,
};
pub use operations::matching::{ConfirmMatch, confirm_match, unmatch};
pub use operations::reconciling::{ReconcileBank, reconcile_bank, reopen_reconciliation};
pub use operations::refunds::{ReverseRefund, reverse_refund};
pub use proposing::{Proposal, proposals};
pub use store::lines::open as open_lines;
pub use store::matches::{Booked, Standing, first, outstanding, standing};
pub use store::reconciliations::through as reconciled_through;
