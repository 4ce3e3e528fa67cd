//! The books: the chart of accounts, the journal, and the reports read from them.
//!
//! Words: an *entry* is one balanced record of a money event, made of *postings*; a *control account* is
//! kept by documents alone (receivable, customer deposits) and takes no manual entry; a *closed period*
//! takes no entry at all. What must stay true: every entry balances and names its document, nothing is
//! edited or deleted, only reversed, and the trial balance is zero.
//!
//! Every capability that moves money calls [`post`] inside its own transaction, with an entry made by
//! `nameplate_rules::books::events`.

pub mod graphql;
mod operations;
mod posting;
mod store;

pub use operations::{
    AddAccount, JournalLine, PostJournal, ReverseJournal, add_account, close_books, open,
    post_journal, reverse_journal,
};
pub use posting::{MANUAL, NewEntry, check_open, post, reverse, role_key};
pub use store::{Balance, balances};

#[cfg(test)]
mod tests;
