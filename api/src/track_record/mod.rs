//! Which repairs hold and which come back: rates by group, over time, by machine, and what it costs.
//!
//! Words: a *repair* is a completed call; it *returned* when a later call counts against it (`callbacks::outcomes`); it is
//! *followed* for the days since its completion, at most the *window*; a *group* is what repairs have in common: who did
//! them, what failed, what was fitted. What must stay true: a repair counts once in a group; recent repairs are neither
//! successes nor left out; every figure says how many repairs it rests on and as of which day; what is read grows with the
//! span asked for, not with the shop's history. The statistics are in `nameplate_rules::rates`; nothing is written here.

mod asked;
pub mod graphql;
mod machines;
mod money;
mod months;
mod off_thread;
mod pictures;
mod rates;
mod store;

pub use asked::checked;
pub use machines::{Machines, machines};
pub use months::{Month, Months, months};
pub use off_thread::off_thread;
pub use pictures::{PictureAsked, of_money, of_months, of_rates, picture};
pub use rates::{Group, Rates, came_back, rates, still_watched};

#[cfg(test)]
mod money_tests;
#[cfg(test)]
mod planted_tests;
