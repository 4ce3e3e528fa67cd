//! Refunds undone, in the graph.

use async_graphql::{Context, ID, InputObject, Object};
use chrono::NaiveDate;

use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::invoices::graphql::Refund;
use crate::payload;

use super::super::operations::refunds as operations;

/// A refund to undo.
#[derive(InputObject)]
pub struct ReverseRefundInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The refund.
    refund_id: ID,
    /// Why, such as a check that was never cashed.
    reason: String,
    /// The day from which it counts no more.
    reversed_on: NaiveDate,
}

payload! {
    /// What undoing a refund gave.
    ReverseRefundPayload {
        /// The refund, undone.
        refund: Refund
    }
}

/// Refunds undone.
#[derive(Default)]
pub struct RefundsMutation;

#[Object]
impl RefundsMutation {
    /// Undoes a refund that was typed wrongly or never cashed: what it paid back is the customer's credit again. One that a
    /// statement of the bank shows is matched no longer first.
    async fn reverse_refund(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The refund.")] input: ReverseRefundInput,
    ) -> async_graphql::Result<ReverseRefundPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let order = operations::ReverseRefund {
                idempotency_key: input.idempotency_key,
                refund_id: Kind::Refund.row("refundId", &input.refund_id)?,
                reason: input.reason,
                reversed_on: input.reversed_on,
            };
            operations::reverse_refund(act, order).await
        };
        ReverseRefundPayload::of(outcome.await.map(Refund::from))
    }
}
