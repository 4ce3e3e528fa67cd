//! Who pays for a repair: deciding, before the visit or line by line, over all a machine holds.
//!
//! Words: a *holding* is a programme that a machine holds on a day, with its terms and the days they count from; a *case*
//! is what is known of the failure; a *decision* splits the lines of an option over the holdings and the customer, and
//! keeps what it was made of, so that it can be read for ever. An *outlook* is a decision nobody writes down. What must
//! stay true: a call has one decision that stands; portions and the customer's part add up to each line.

mod ahead;
mod bearing;
mod facts;
pub mod graphql;
mod holdings;
mod kept;
mod kinds;
mod operations;
mod store;

pub use ahead::{CoverAhead, before_visit};
pub use bearing::{Billed, is_all_the_shops, shop_bears, shop_bears_all};
pub use facts::Said;
pub use holdings::Holding;
pub use kept::{Kept, PortionOf, kept};
pub use operations::{DecideCoverage, LineHours, Outlook, OutlookLine, Sight, decide, outlook};
pub use store::{get_decision, line_words, portions_of, standing_of_call};
