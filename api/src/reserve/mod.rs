//! The warranty reserve: what the shop's own promises on finished repairs will still cost, month by month in the books.
//!
//! Words: a *run* works the reserve out for the end of a month and posts it; a *stratum* is a kind of machine and
//! component; a repair is *open* while the shop's free labor on it runs and it has not come back; it *came back* with a
//! confirmed callback for the same or a related failure (or not classed yet), or where the same component failed the same
//! way again while free labor ran. What was *used* is what callbacks cost since the run before; it leaves the cost of
//! callbacks for the reserve. What must stay true: months are run in order and none is left out; each run opens with what
//! the one before closed with, adds up, and closes with what the account of the reserve stands at on its day; only the
//! last one is undone.
//!
//! A run looks back three years, in a fixed number of statements. In a shop to which nothing ever came back there is
//! nothing to go by, and it reserves nothing.

mod experience;
pub mod graphql;
mod operations;
mod store;

pub use operations::{
    RunWarrantyReserve, UndoWarrantyReserve, run_warranty_reserve, undo_warranty_reserve,
};
pub use store::{StratumNamed, standing_run_of, strata_named};

#[cfg(test)]
mod tests;
