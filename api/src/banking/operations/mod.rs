//! What is done with an account at a bank.

pub mod before;
pub mod booking;
pub mod deposits;
pub mod matching;
pub mod pairing;
pub mod reconciling;
pub mod refunds;
