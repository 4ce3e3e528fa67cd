//! Rows of banking.

pub mod deposits;
