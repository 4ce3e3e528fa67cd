//! Banking: what was received goes to a bank, and the bank's statement is held against the books.
//!
//! Words: a *deposit* here is a slip of receipts that go to one account at a bank together (a customer's deposit for a
//! call is in `invoices`); a payment *waits* until it is on one. What must stay true: a payment is on one standing
//! deposit at most, and never on one before the day it was received; receipts not yet banked are the payments that wait;
//! a deposit has its one entry in the books, and one more when it is undone.

pub mod graphql;
mod operations;
mod store;

pub use operations::deposits::{
    BankReceipts, BankedPayment, UndoDeposit, bank_receipts, undo_deposit,
};
