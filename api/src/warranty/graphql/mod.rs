//! Warranties in the graph.

mod covers;
mod mutations;
mod payers;
mod programmes;
mod promises;
mod queries;

pub use covers::{ApplianceCover, KeptPart};
pub use mutations::WarrantyMutation;
pub use payers::WarrantyPayer;
pub use programmes::{
    CoverEvidence, CoverExclusion, CoveredCharge, ProgrammeTerms, WarrantyProgramme,
};
pub use promises::ShopWarranty;
pub use queries::WarrantyQuery;
