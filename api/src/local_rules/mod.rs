//! Local rules: what the place where a machine stands asks of estimates and bills.
//!
//! Words: a *place* is a country and a region (ISO 3166-2) of it; its *rules* hold from a day on until later
//! ones do. What must stay true: rules are never changed or deleted, so that what a document was held to can
//! be read for ever; and no place is named in this program, only in its data.

pub mod graphql;
mod operations;
mod store;

pub use operations::{AddLocalRules, add_local_rules};
pub use store::{Found, in_force};
