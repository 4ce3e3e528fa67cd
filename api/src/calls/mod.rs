//! Service calls from the phone ringing to closed, with the visits, readings, findings and remedies in them.
//!
//! Words: a *call* is one complaint about one appliance; a *visit* is one trip to an address and may serve
//! several calls there; a *finding* is component, failure mode, position and cause; a *remedy* is what was
//! done about a finding. What must stay true: nothing is written on a call that is not open; a finding's
//! component belongs to the appliance's type; a technician reads and writes own calls only; a part used
//! keeps the cost it had when it was fitted.
//!
//! Taking a call and recording a finding touch callbacks and flags, and closing one touches the warranty
//! and the books, or what was offered; planning a trip asks which parts are on order; saying that a visit was made costs the
//! shop something on a call that it bears. Those acts lie above, and use `create`, `add_finding`, `plan_visit`,
//! `finish_visit`, `mark_completed` and `cancel` in their own transaction.

pub mod graphql;
mod operations;
mod records;
mod store;
mod units;

pub use operations::{
    CancelCall, FinishVisit, PartFitted, PartRating, RecordReading, RecordRemedy, RecordRootCause,
    ScheduleVisit, cancel, conductor_of, finish_visit, plan_visit, record_reading, record_remedy,
    record_root_cause, served_by,
};
pub use records::{
    NewCall, NewFinding, add_finding, create, mark_completed, must_be_open, set_part_cost,
};
pub use store::{
    Work, calls_of_appliance, findings_of_calls, get_call, get_own_call, parts_of_remedies,
    remedies_of_findings, visible_to, work_of_calls,
};
pub use units::{sign_of, value_in_base_unit};
