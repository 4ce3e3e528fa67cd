//! Payers' advices, their rows and figures of payers in the graph.

pub mod acts;
pub mod advices;
pub mod figures;
pub mod layouts;
pub mod outside;
pub mod queries;
pub mod rests;

pub use acts::RemittancesMutation;
pub use advices::{AdviceRow, PayerAdvice};
pub use outside::TakingOffMutation;
pub use queries::RemittancesQuery;
pub use rests::ClaimRestsMutation;
