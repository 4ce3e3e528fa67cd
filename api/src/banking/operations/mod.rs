//! What is done with an account at a bank.

pub mod deposits;
