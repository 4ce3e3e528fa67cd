//! Closing a call, which writes the shop's warranty, the tally and the books; and billing it.
//!
//! Deciding a callback lies here too, and saying that a visit was made, as both may move what the shop bears of a call.
//!
//! Words: to *complete* a call is to say that its work is done; the *work to bill* is what its record comes to, for one that
//! nothing was accepted for; what the shop *bears* of a call is what nobody pays it, at cost. What must stay true: a call completes only once
//! something was done about a finding or no fault was found, and, when a flag asks to act, once its root cause is
//! written down; everything it writes happens together or not at all.

mod billing;
mod borne;
mod deciding;
pub mod graphql;
mod operations;
mod proposing;
mod store;
mod trips;

pub use billing::{credit_invoice, issue_invoice};
pub use borne::{borne_between, decide_coverage};
pub use deciding::decide_callback;
pub use operations::{CompleteCall, CompletedCall, cancel_call, complete_call};
pub use proposing::{WorkToBill, work_to_bill};
pub use store::borne_rows;
pub use trips::finish_visit;

#[cfg(test)]
mod outcome_tests;
#[cfg(test)]
pub mod testing;
#[cfg(test)]
mod tests;
