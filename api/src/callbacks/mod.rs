//! What comes back: callbacks, flags, and the acts that raise them.
//!
//! Words: a *callback* is a new repair call inside the window after a completed one on the same machine, proposed by the
//! rule and decided by the office; a *flag* says that the same component failed the same way again, on which *evidence*
//! (earlier repairs) it rests, and what to check and mind; *advice* is the list it takes its checks from. The *tally*
//! is how often a kind of repair was done and came back (`tally`).
//!
//! What must stay true: a completed call is counted by one callback only; a call, component and failure have one flag,
//! which may grow more severe, moves one step at a time and is never deleted; a flag's figures are those of the day it
//! was raised.

mod advice;
mod calls;
mod digest;
mod flags;
pub mod graphql;
mod listening;
mod operations;
mod store;
mod tally;

pub use advice::open;
pub use calls::{OpenCall, Opened, RecordFinding, Recorded, open_call, record_finding};
pub use digest::tell_what_came_back;
pub use operations::{DecideCallback, Decision, MoveFlag, decide_callback, move_flag};
pub use store::{callback_of, flags_of_call, hazard, open_flags};
pub use tally::{Count, count, recount};
