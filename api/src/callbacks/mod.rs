//! What comes back: callbacks, flags, and the acts that raise them.
//!
//! Words: a *callback* is a new repair call inside the window after a completed one on the same machine, proposed by the
//! rule and decided by the office; a *flag* says that the same component failed the same way again, on which *evidence*
//! (earlier repairs) it rests, and what to check and mind; *advice* is the list it takes its checks from. The *tally*
//! is how often a kind of repair was done and came back (`tally`); an *outcome* is what became of one repair (`outcomes`).
//!
//! What must stay true: a completed call is counted by its first confirmed callback that is a return, and by no other; a
//! machine has one flag for a component and failure, which may grow more severe, moves one step at a time, is opened again by
//! the next such failure or a person and is never deleted; a flag's figures are those of the day a finding raised it, opened
//! it again or made it grow. No index can hold flags to be one: in rows from before they were opened again there may be
//! several, of which the newest lives on.

mod advice;
mod appliances;
mod calls;
mod deciding;
mod digest;
mod flags;
pub mod graphql;
mod joint;
mod listening;
mod operations;
pub mod outcomes;
mod store;
mod tally;

use crate::base::{Act, Result};

pub use advice::{SetCheckAdvice, set_check_advice};
pub use appliances::change_appliance;
pub use calls::{OpenCall, Opened, RecordFinding, Recorded, open_call, record_finding};
pub use deciding::{DecideCallback, Decided, Decision, decide, is_return, reject_cancelled};
pub use digest::tell_what_came_back;
pub use joint::{Examined, Failed, OfJoint, examine_joint};
pub use operations::{MoveFlag, move_flag};
pub use store::{asks_root_cause, callback_of, hazard, open_flags};
pub use tally::{Count, count, recount};

/// Writes the list of checks on an empty database, and works out what became of repairs made before that was kept.
///
/// # Errors
/// Internal only.
pub async fn open(act: &Act) -> Result<()> {
    advice::open(act).await?;
    outcomes::open(act).await
}
