//! Local rules: what the place where a machine stands asks of estimates and bills.
//!
//! Words: a *place* is a country and a region (ISO 3166-2) of it; its *rules* hold from a day on until later
//! ones do. What must stay true: rules are never changed, and withdrawn only while no document was held to
//! them, so that what one was held to can be read for ever; and no place is named in this program, only in its data.

pub mod graphql;
mod operations;
mod store;

pub use operations::{AddLocalRules, add_local_rules, withdraw_local_rules};
pub use store::{Found, get, in_force, next_after};
