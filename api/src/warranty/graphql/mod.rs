//! Warranties in the graph.

pub mod covers;
pub mod keeping;
pub mod mutations;
pub mod payers;
pub mod programmes;
pub mod promises;
pub mod queries;
pub mod terms_input;

pub use covers::{ApplianceCover, KeptPart};
pub use mutations::WarrantyMutation;
pub use payers::WarrantyPayer;
pub use programmes::{
    CoverEvidence, CoverExclusion, CoveredCharge, ProgrammeTerms, WarrantyProgramme,
};
pub use promises::ShopWarranty;
pub use queries::WarrantyQuery;
