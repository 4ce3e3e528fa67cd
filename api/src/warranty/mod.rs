//! Who stands behind a machine: the shop for its own work, and the payers whose programmes the machine holds.
//!
//! Words: a call that completes gives a *shop warranty* on each component it repaired, labour and parts apart, by the
//! shop's settings of that day. A *repair* is a finding, other than "no fault found", with a remedy by which something
//! was done. A *warranty payer* is an organisation that pays for repairs: a maker, a part's maker, a seller of service
//! contracts; its *programmes* come with a make, or are registered machine by machine; their *terms* hold for cover that
//! begins on their day or later. A *kept part* was taken out and waits under its tag for a payer. What must stay true: a
//! shop warranty is written once for a call and component, and never changes when the settings do; terms never change;
//! a contract number is on one machine.

pub mod graphql;
mod operations;
mod promises;
mod store;

pub use operations::covers::{
    ChangeApplianceUse, EndCover, RegisterCover, change_appliance_use, end_cover, register_cover,
};
pub use operations::keeping::{
    KeepPart, LeftBy, ReleaseKeptPart, keep_part, release_kept_part, undo_kept_part_release,
};
pub use operations::payers::{
    ChangeWarrantyPayer, PayerWays, add_warranty_payer, change_warranty_payer,
};
pub use operations::programmes::{
    AddProgramme, add_programme, add_programme_terms, rank, retire_programme,
};
pub use operations::terms::{NewSegment, NewTerms};
pub use promises::{
    Repair, in_force, is_no_fault, is_repair, of_call, promise_of, repairs_of, write,
};
pub use store::{
    covers_of, get_payer, get_programme, kept_of_call, payer_of_customer, payers_by_ids,
    payers_of_customers, programmes_for, terms_of, use_of,
};
