//! What payers left unpaid of claims, in the graph.

use async_graphql::{ComplexObject, Context, ID, InputObject, Object, SimpleObject};
use nameplate_entities::claim;

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::invoices::graphql::Invoice;
use crate::payload;

use super::super::operations::rests::{
    ClaimRest, UndoClaimRest, bear_claim_rest, bill_claim_rest, undo_claim_rest,
};

/// What is left of a claim, told by its invoice.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct RestOfClaim {
    /// The claim's number.
    claim_number: String,
    #[graphql(skip)]
    row: claim::Model,
}

impl From<claim::Model> for RestOfClaim {
    fn from(row: claim::Model) -> Self {
        Self {
            claim_number: row.number.clone(),
            row,
        }
    }
}

#[ComplexObject]
impl RestOfClaim {
    /// The claim.
    async fn claim_id(&self) -> ID {
        Kind::Claim.id(self.row.id)
    }

    /// The payer's invoice; what is open of it, and what settled it.
    async fn invoice(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Invoice>> {
        Invoice::of(ctx, self.row.invoice_id).await
    }
}

/// What a payer left unpaid of a claim, for the customer to pay.
#[derive(InputObject)]
pub struct BillClaimRestInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The claim; the payer has answered it.
    claim_id: ID,
    /// Why the payer does not pay it, as the customer reads it.
    reason: String,
    /// How much of what is open; all of it when left out.
    amount: Option<Money>,
}

impl BillClaimRestInput {
    fn command(self) -> Result<ClaimRest> {
        Ok(ClaimRest {
            idempotency_key: self.idempotency_key,
            claim_id: Kind::Claim.row("claimId", &self.claim_id)?,
            reason: self.reason,
            amount: self.amount.map(|amount| amount.0),
        })
    }
}

/// What a payer left unpaid of a claim, for the shop to bear.
#[derive(InputObject)]
pub struct BearClaimRestInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The claim; the payer has answered it.
    claim_id: ID,
    /// Why the payer does not pay it.
    reason: String,
    /// How much of what is open; all of it when left out.
    amount: Option<Money>,
}

impl BearClaimRestInput {
    fn command(self) -> Result<ClaimRest> {
        Ok(ClaimRest {
            idempotency_key: self.idempotency_key,
            claim_id: Kind::Claim.row("claimId", &self.claim_id)?,
            reason: self.reason,
            amount: self.amount.map(|amount| amount.0),
        })
    }
}

/// A claim whose rest goes back to its payer.
#[derive(InputObject)]
pub struct UndoClaimRestInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The claim.
    claim_id: ID,
    /// Why.
    reason: String,
}

impl UndoClaimRestInput {
    fn command(self) -> Result<UndoClaimRest> {
        Ok(UndoClaimRest {
            idempotency_key: self.idempotency_key,
            claim_id: Kind::Claim.row("claimId", &self.claim_id)?,
            reason: self.reason,
        })
    }
}

payload! {
    /// What billing a rest gave.
    BillClaimRestPayload {
        /// The claim's invoice as it is now, and what was billed of it.
        rest: RestOfClaim
    }
}

payload! {
    /// What bearing a rest gave.
    BearClaimRestPayload {
        /// The claim's invoice as it is now, and what was borne of it.
        rest: RestOfClaim
    }
}

payload! {
    /// What taking a rest back gave.
    UndoClaimRestPayload {
        /// The claim's invoice as it is now.
        rest: RestOfClaim
    }
}

/// Changes about what payers left unpaid.
#[derive(Default)]
pub struct ClaimRestsMutation;

#[Object]
impl ClaimRestsMutation {
    /// Bills what a payer left unpaid of a claim to the customer of its call, by an invoice of its own, where the payer's
    /// terms let it.
    async fn bill_claim_rest(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The claim and why.")] input: BillClaimRestInput,
    ) -> async_graphql::Result<BillClaimRestPayload> {
        let act = act(ctx)?;
        let outcome = async { bill_claim_rest(act, input.command()?).await }.await;
        BillClaimRestPayload::of(outcome.map(RestOfClaim::from))
    }

    /// Gives up what a payer left unpaid of a claim: the shop bears it.
    async fn bear_claim_rest(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The claim and why.")] input: BearClaimRestInput,
    ) -> async_graphql::Result<BearClaimRestPayload> {
        let act = act(ctx)?;
        let outcome = async { bear_claim_rest(act, input.command()?).await }.await;
        BearClaimRestPayload::of(outcome.map(RestOfClaim::from))
    }

    /// Takes back all that was billed or borne of a claim, such as after an appeal that was won; its payer owes it again.
    async fn undo_claim_rest(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The claim and why.")] input: UndoClaimRestInput,
    ) -> async_graphql::Result<UndoClaimRestPayload> {
        let act = act(ctx)?;
        let outcome = async { undo_claim_rest(act, input.command()?).await }.await;
        UndoClaimRestPayload::of(outcome.map(RestOfClaim::from))
    }
}
