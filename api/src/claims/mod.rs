//! What the shop asks of a warranty payer for a call: the claim, what goes with it, and what became of it.
//!
//! Words: a *claim* is one call under one programme, and asks what the payer's invoice of that call asks; its *papers*
//! are the pictures, scans and kept parts that go with it; what it *requires* is what the programme's terms ask to see; a
//! *step* is what happened to it, and the last one says where it stands. Its *balance* is what was claimed, what was
//! paid, and what was given up or billed to somebody else. What must stay true: a call has one claim for each programme,
//! and an invoice one; a claim's state is that of its last step, and the life of a claim (`rules::claims`) allows every
//! step; nothing is sent while something required is missing; papers are of the call, of its machine or of its findings.

mod operations;
mod store;

pub use operations::life::{Taken, take_step};
pub use store::to_rule;
pub use store::{balance, balances, get_claim, of_payer_by_numbers};
