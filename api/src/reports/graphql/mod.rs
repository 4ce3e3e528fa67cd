//! Reports in the graph.

pub mod documents;
pub mod first_visits;
pub mod statements;

pub use documents::DocumentReportsQuery;
pub use first_visits::FirstVisitsQuery;
pub use statements::StatementsQuery;

use async_graphql::Enum;
use chrono::NaiveDate;

use crate::graphql::error::bad_input;

use super::store::Span;

/// Which days a sale counts on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "super::Basis")]
pub enum Basis {
    /// On that of its invoice.
    Accrual,
    /// On those it is paid on, as far as it is paid.
    Cash,
}

/// The days asked for, if they are in order.
fn span(from: NaiveDate, to: NaiveDate) -> async_graphql::Result<Span> {
    Span::new(from, to).map_err(|wrong| bad_input("to", wrong))
}

/// The day asked for, if it is of a year that both databases keep.
fn day(on: NaiveDate) -> async_graphql::Result<NaiveDate> {
    Span::new(on, on)
        .map(|span| span.to)
        .map_err(|wrong| bad_input("on", wrong))
}
