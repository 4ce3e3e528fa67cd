//! Reports over the books and the documents behind them.
//!
//! Words: *accrual* counts a sale on the day of its invoice and a supplier's bill on its own, *cash* as far as they are
//! paid (`cash.rs`, `paid_bills.rs` and `nameplate_rules::books::cash` say how); *takings* are money that came in. What must stay true: a report of days gone by
//! reads the same whenever it is asked for, as nothing it reads is changed or deleted; a report ties to the account it is
//! about, and shows both sides where they might differ; each runs a bounded number of statements, cash a few for each
//! thousand invoices and bills that moved.
//!
//! It lies above every capability that posts or issues, as it reads what all of them wrote. The figures of the books alone
//! come from `books`.

mod cash;
mod csv;
mod first_visits;
pub mod graphql;
mod paid_bills;
mod statements;
mod store;
mod taxes;

pub use csv::{Failed, Pieces, Wanted, export};
pub use first_visits::{Completed, FirstVisits, first_visits};
pub use statements::{Statement, balance_sheet, income, trial_balance};
pub use store::Span;
pub use store::bills::moved_sql as bills_moved_sql;
pub use store::margins;
pub use store::takings::takings;
pub use taxes::{LevelLiability, TaxLiability, tax_liability};

use nameplate_rules::books::BooksRefusal;

use crate::base::Error;

/// Which days a sale counts on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Basis {
    /// On that of its invoice.
    #[default]
    Accrual,
    /// On those it is paid on.
    Cash,
}

fn too_large(refusal: BooksRefusal) -> Error {
    Error::caused("figures of a report", refusal)
}
