//! The books: the chart of accounts, the journal, and the reports read from them.
//!
//! Words: an *entry* is one balanced record of a money event, made of *postings*; a *control account* is
//! kept by documents alone (receivable, customer deposits, parts stock, the warranty reserve) and takes no manual entry; a *closed period*
//! takes no entry at all; a *closing* takes a fiscal year's revenue, expense and drawings to retained
//! earnings. What must stay true: every entry balances and names its document, nothing is edited or
//! deleted, only reversed, the trial balance is zero, and each entry fits the chain of hashes.
//!
//! Every capability that moves money calls [`post`] inside its own transaction, with an entry made by
//! `nameplate_rules::books::events`.

mod chain;
pub mod graphql;
mod operations;
mod posting;
mod store;

pub use chain::{hash as chain_hash, link_posting};
pub use operations::{
    AccountAsRead, AddAccount, ChangeAccount, CloseYear, JournalLine, PostJournal, ReopenBooks,
    ReverseJournal, add_account, bank_of_code, change_account, close_books, close_year,
    free_account, open, post_journal, reopen_books, restore_account, retire_account,
    reverse_journal, take_up_again,
};
pub use posting::{MANUAL, NewEntry, account_id, check_open, post, reverse, role_key};
pub use store::balances::{Balance, Closings, Days, balances};
pub use store::balances::{balance_before, balance_of_role};
pub use store::periods::is_year_closed_on;
pub use store::{TaxOwed, bank_account, chart, get_entry, tax_owed};

#[cfg(test)]
mod period_tests;
#[cfg(test)]
mod tests;
