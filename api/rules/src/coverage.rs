//! Who pays for a repair: the shop's own warranty, a maker's, a service contract, or the customer.
//!
//! Words: a *programme* is a payer's written terms, cut into *segments* (what is paid, for which components, between
//! which days). A *decision* splits every line of a repair over the programmes that a machine holds and the customer,
//! and says why in words a clerk can read aloud. What must stay true: the shares of a line add up to the line;
//! no programme more raises what the customer owes; a day inside a segment stays covered when the failure comes earlier
//! within it; what lacks evidence is told apart from what is sure.

mod ahead;
mod borne;
mod decision;
mod look;
mod payment;
mod programme;
mod stack;
#[cfg(test)]
mod tests;
mod window;
mod words;
mod workmanship;

pub use ahead::{Ahead, SegmentAhead, Stands, ahead};
pub use borne::{BorneLine, SharedTrip, ShopShare, ShopShares, borne, labour_cost};
pub use decision::{
    Answer, Case, CoverageRefusal, Decision, Finding, Line, LineSplit, PROGRAMMES_MAX, PaidBy,
    Portion, decide,
};
pub use programme::{
    Covers, EarlierRepair, Evidence, Exclusion, Pays, Programme, Rank, Registration, RestBearer,
    Segment, StartEvent, Starts,
};
pub use window::{Held, SegmentDates, Standing, file_by, lapsed_on, segment_dates, standing};
pub use words::{Missing, Reason, Step, settles};
pub use workmanship::{Cover, Workmanship, WorkmanshipStatus, WorkmanshipTerms};
