//! The shop's arithmetic and rules, and nothing else.
//!
//! Everything here is a pure function of its arguments: no clock, no files, no network, no row ids. What must stay
//! true: money is whole cents, rates are exact decimals, and the same input gives the same answer on every machine. Only
//! [`rates`], the statistics of what comes back, counts in floating point.

pub mod arrival;
pub mod banking;
pub mod books;
pub mod callback;
pub mod cautions;
pub mod claims;
pub mod compact;
pub mod countries;
pub mod coverage;
pub mod dates;
pub mod estimate;
pub mod flags;
pub mod invoice;
pub mod local_rules;
pub mod money;
pub mod percent;
pub mod plural;
pub mod pricing;
pub mod rates;
pub mod readings;
pub mod recall;
pub mod reserve;
pub mod serial;
pub mod stock;
pub mod tax;

#[cfg(test)]
mod worked;
