//! The acts on a call that touch nothing above it.

mod closing;
mod readings;
mod remedies;
mod visits;

pub use closing::{CancelCall, RecordRootCause, cancel, record_root_cause};
pub use readings::{PartRating, RecordReading, conductor_of, record_reading};
pub use remedies::{PartFitted, RecordRemedy, record_remedy};
pub use visits::{FinishVisit, ScheduleVisit, finish_visit, plan_visit, served_by};
