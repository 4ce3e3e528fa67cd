//! The shop's own warranty on its work.
//!
//! Words: a call that completes gives a *shop warranty* on each component it repaired, labour and parts apart, by the
//! shop's settings of that day. A *repair* is a finding, other than "no fault found", with a remedy by which something
//! was done. What must stay true: it is written once for a call and component, and never changes when the settings do.

pub mod graphql;
mod store;

pub use store::{Repair, in_force, is_no_fault, is_repair, of_call, promise_of, repairs_of, write};
