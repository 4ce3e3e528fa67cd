//! Rows of banking.

pub mod deposits;
pub mod lines;
pub mod matches;
pub mod reconciliations;
