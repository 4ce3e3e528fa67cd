//! The arrival brief: all a technician must know before ringing the bell, in one answer.
//!
//! It is read by a fixed plan of statements, 32 at most, however long the history is, so that it is there at once. What must
//! stay true: a technician gets the brief of own calls only; costs are never read out; the newest entries of the
//! history come first, and no more than [`HISTORY_MAX`].

pub mod graphql;
mod store;

pub use store::{Brief, HISTORY_MAX, load};

#[cfg(test)]
mod tests;
