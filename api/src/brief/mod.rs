//! The arrival brief: all a technician must know before ringing the bell, in one answer; and the route of a day, which is
//! the visits of a technician with their briefs.
//!
//! It is read by a fixed plan of statements, however long the history is, so that it is there at once; a day's briefs are
//! read together. What must stay true: a technician gets the briefs of own calls only; costs are never read out; the newest
//! entries of the history come first, and no more than [`HISTORY_MAX`]; as text it is below 2,000 bytes.

mod dangers;
pub mod graphql;
mod store;
mod text;

pub use store::{Brief, HISTORY_MAX, load};
pub use text::text;

#[cfg(test)]
mod tests;
