//! Drafts put away, in the graph.

use async_graphql::{Context, ID, InputObject, Object};

use crate::estimates::writing::discarding;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::payload;

use super::EstimateRevision;

/// A draft that nobody will send.
#[derive(InputObject)]
pub struct DiscardEstimateInput {
    /// The revision, which is a draft.
    revision_id: ID,
}

payload! {
    /// What putting a draft away gave.
    DiscardEstimatePayload {
        /// The revision, which counts as replaced.
        revision: EstimateRevision
    }
}

/// Drafts put away.
#[derive(Default)]
pub struct DiscardMutation;

#[Object]
impl DiscardMutation {
    /// Puts a drafted revision away: it can be neither sent nor billed any more.
    async fn discard_estimate(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which draft.")] input: DiscardEstimateInput,
    ) -> async_graphql::Result<DiscardEstimatePayload> {
        let act = act(ctx)?;
        let outcome = async {
            let revision = Kind::EstimateRevision.row("revisionId", &input.revision_id)?;
            discarding::discard_estimate(act, revision).await
        };
        DiscardEstimatePayload::of(outcome.await.map(EstimateRevision::from))
    }
}
