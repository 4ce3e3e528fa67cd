//! A supplier's list of prices: sent as CSV, staged row by row, looked through, and taken over at once.
//!
//! Words: a list is *begun* with the names of its columns; it is *received* in batches, so that nobody waits for
//! the writer; it is *staged* when every row was read; *taking over* makes parts and costs of it. What must stay true:
//! a list is taken over in one transaction or not at all, the catalogue does not change before that, and no estimate
//! changes because of it.

mod begin;
mod receive;
mod staging;
pub(super) mod store;
mod take_over;

pub use begin::{BeginPriceList, Columns, begin_price_list, discard_price_list};
pub use receive::{Arriving, RECEIVED_MAX, Received, receive};
pub use staging::forget_staged;
pub use take_over::{Take, TakeOverPriceList, take_over_price_list};

#[cfg(test)]
mod race_tests;
#[cfg(test)]
mod tests;
