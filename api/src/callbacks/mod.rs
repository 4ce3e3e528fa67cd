//! What comes back: callbacks, flags, and the acts that raise them.
//!
//! Words: a *callback* is a new repair call inside the window after a completed one on the same machine, proposed by the
//! rule and decided by the office; a *flag* says that the same component failed the same way again, on which *evidence*
//! (earlier repairs) it rests, and what to check and mind; *advice* is the list it takes its checks from. The *tally*
//! is how often a kind of repair was done and came back (`tally`).
//!
//! What must stay true: a completed call is counted by its first confirmed callback only; a machine has one flag for a
//! component and failure, which may grow more severe, moves one step at a time, is opened again by the next such failure and
//! is never deleted; a flag's figures are those of the day it was raised or opened again. No index can hold flags to be one:
//! in rows from before they were opened again there may be several, of which the newest lives on.

mod advice;
mod calls;
mod deciding;
mod flags;
pub mod graphql;
mod operations;
mod store;
mod tally;

pub use advice::{SetCheckAdvice, open, set_check_advice};
pub use calls::{OpenCall, Opened, RecordFinding, Recorded, open_call, record_finding};
pub use deciding::{DecideCallback, Decided, Decision, decide};
pub use operations::{MoveFlag, move_flag};
pub use store::{asks_root_cause, callback_of, hazard, open_flags};
pub use tally::{Count, count, recount};
