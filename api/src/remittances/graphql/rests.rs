//! What payers left unpaid of claims, in the graph.

use async_graphql::{Context, ID, InputObject, Object};

use crate::base::Result;
use crate::claims::graphql::Claim;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::payload;

use super::super::operations::rests::{
    ClaimRest, UndoClaimRest, bear_claim_rest, bill_claim_rest, undo_claim_rest,
};

/// What a payer left unpaid of a claim, for the customer to pay.
#[derive(InputObject)]
pub struct BillClaimRestInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The claim; the payer has answered it.
    claim_id: ID,
    /// Why the payer does not pay it, as the customer reads it.
    reason: String,
    /// How much of what the payer will not pay, by its last answer; all of it when left out.
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
    /// How much of what the payer will not pay, by its last answer; all of it when left out.
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
        /// The claim, whose balance says what is left.
        claim: Claim
    }
}

payload! {
    /// What bearing a rest gave.
    BearClaimRestPayload {
        /// The claim, whose balance says what is left.
        claim: Claim
    }
}

payload! {
    /// What taking a rest back gave.
    UndoClaimRestPayload {
        /// The claim, whose balance says what is open again.
        claim: Claim
    }
}

/// Changes about what payers left unpaid.
#[derive(Default)]
pub struct ClaimRestsMutation;

#[Object]
impl ClaimRestsMutation {
    /// Bills what a payer will not pay of a claim to the customer of its call, by an invoice of its own, where the payer's
    /// terms let it. What the payer said that it pays is billed to nobody else.
    async fn bill_claim_rest(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The claim and why.")] input: BillClaimRestInput,
    ) -> async_graphql::Result<BillClaimRestPayload> {
        let act = act(ctx)?;
        let outcome = async { bill_claim_rest(act, input.command()?).await }.await;
        BillClaimRestPayload::of(outcome.map(Claim::from))
    }

    /// Gives up what a payer will not pay of a claim, of one that was closed all that is open: the shop bears it.
    async fn bear_claim_rest(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The claim and why.")] input: BearClaimRestInput,
    ) -> async_graphql::Result<BearClaimRestPayload> {
        let act = act(ctx)?;
        let outcome = async { bear_claim_rest(act, input.command()?).await }.await;
        BearClaimRestPayload::of(outcome.map(Claim::from))
    }

    /// Takes back all that was billed or borne of a claim, such as after an appeal that was won; its payer owes it again.
    async fn undo_claim_rest(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The claim and why.")] input: UndoClaimRestInput,
    ) -> async_graphql::Result<UndoClaimRestPayload> {
        let act = act(ctx)?;
        let outcome = async { undo_claim_rest(act, input.command()?).await }.await;
        UndoClaimRestPayload::of(outcome.map(Claim::from))
    }
}
