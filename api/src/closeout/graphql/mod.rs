//! Completing a call in the graph, and what its work comes to.

pub mod borne;
mod work_to_bill;

pub use borne::{BorneByShop, CallbackCost};
pub use work_to_bill::CloseoutQuery;

use async_graphql::{Context, ID, InputObject, Object, SimpleObject};
use chrono::NaiveDate;

use crate::base::{Error, Result};
use crate::calls::CancelCall;
use crate::calls::graphql::ServiceCall;
use crate::graphql::context::act;
use crate::graphql::error::{Problem, edge};
use crate::graphql::ids::Kind;
use crate::payload;
use crate::warranty::graphql::ShopWarranty;

use super::operations;

/// A call whose work is done.
#[derive(InputObject)]
pub struct CompleteCallInput {
    /// Your own key for this request, such as a UUID. Send the same one when you try again.
    idempotency_key: String,
    /// The call. Something was done about a finding, or no fault was found.
    call_id: ID,
    /// The day the work was done; today when left out.
    completed_on: Option<NaiveDate>,
}

impl CompleteCallInput {
    fn command(self) -> Result<operations::CompleteCall> {
        Ok(operations::CompleteCall {
            idempotency_key: self.idempotency_key,
            call_id: Kind::ServiceCall.row("callId", &self.call_id)?,
            completed_on: self.completed_on,
        })
    }
}

/// What completing a call gave.
#[derive(Default, SimpleObject)]
pub struct CompleteCallPayload {
    /// The completed call.
    ///
    /// Null when the mutation was refused.
    call: Option<ServiceCall>,
    /// What the shop now stands behind, a component each.
    warranties: Vec<ShopWarranty>,
    /// What to mend; empty when it was done.
    problems: Vec<Problem>,
}

impl CompleteCallPayload {
    fn of(outcome: Result<operations::CompletedCall>) -> async_graphql::Result<Self> {
        match outcome {
            Ok(completed) => Ok(Self {
                call: Some(completed.call.into()),
                warranties: completed.warranties.into_iter().map(Into::into).collect(),
                problems: Vec::new(),
            }),
            Err(Error::Refused(problems)) => Ok(Self {
                problems: problems.into_iter().map(Into::into).collect(),
                ..Self::default()
            }),
            Err(error) => Err(edge(error)),
        }
    }
}

/// A call to close without work.
#[derive(InputObject)]
pub struct CancelCallInput {
    /// The call.
    call_id: ID,
    /// Why; kept in the audit log.
    reason: String,
}

payload! {
    /// What cancelling a call gave.
    CancelCallPayload {
        /// The call as it is now.
        call: ServiceCall
    }
}

/// Completing calls.
#[derive(Default)]
pub struct CloseoutMutation;

#[Object]
impl CloseoutMutation {
    /// Closes a call without work; trips planned for it alone count as missed.
    async fn cancel_call(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The call and why.")] input: CancelCallInput,
    ) -> async_graphql::Result<CancelCallPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let cancel = CancelCall {
                call_id: Kind::ServiceCall.row("callId", &input.call_id)?,
                reason: input.reason,
            };
            operations::cancel_call(act, cancel).await
        }
        .await;
        CancelCallPayload::of(outcome.map(ServiceCall::from))
    }

    /// Completes a call: the shop's warranty on what was repaired is written, and what its parts cost
    /// and what the shop bears of it is posted.
    async fn complete_call(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The call.")] input: CompleteCallInput,
    ) -> async_graphql::Result<CompleteCallPayload> {
        let act = act(ctx)?;
        CompleteCallPayload::of(
            async { operations::complete_call(act, input.command()?).await }.await,
        )
    }
}
