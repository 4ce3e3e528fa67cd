//! The ground under every capability: configuration, clock, database, rights, refusals, audit,
//! numbers, idempotency and the mail that waits to be sent. Nothing here knows a rule of the trade.

pub mod access;
pub mod act;
pub mod audit;
pub mod change;
pub mod check;
pub mod clock;
pub mod config;
pub mod csv_layout;
pub mod db;
pub mod digest;
pub mod error;
pub mod idempotency;
pub mod joined;
pub mod letter;
pub mod numbers;
pub mod outbox;
pub mod own_work;
pub mod owner_letters;
pub mod records;
pub mod search;
pub mod secret;
#[cfg(test)]
pub mod testing;
pub mod throttle;
pub mod wording;

pub use access::{Right, Role};
pub use act::{Act, App, Caller};
pub use change::Change;
pub use check::Checks;
pub use error::{Error, Problem, ProblemCode, Result};
