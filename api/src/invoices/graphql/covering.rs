//! Billing by the decision who pays, in the graph.

use async_graphql::{Enum, ID, InputObject};
use nameplate_entities::kinds;

use crate::base::Result;
use crate::graphql::ids::Kind;

use super::super::issuing::covering::ByCoverage;

/// By which of a decision's splits a call is billed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "kinds::CoverageSplit")]
pub enum CoverageSplit {
    /// By what is sure today.
    Sure,
    /// As it will be once all that is missing is there.
    Settled,
}

/// The decision that says who pays what of a call.
#[derive(InputObject)]
pub struct BillByCoverageInput {
    /// The decision; it stands on the call, and was made for the option that is billed.
    decision_id: ID,
    /// Which split is billed; must be said while the decision waits for something.
    split: Option<CoverageSplit>,
}

impl BillByCoverageInput {
    pub(super) fn command(self) -> Result<ByCoverage> {
        let decision = &self.decision_id;
        Ok(ByCoverage {
            decision_id: Kind::CoverageDecision.row("coverage.decisionId", decision)?,
            split: self.split.map(Into::into),
        })
    }
}
