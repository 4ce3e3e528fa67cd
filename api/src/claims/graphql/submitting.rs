//! Sending claims.

use async_graphql::{Context, Object, SimpleObject};

use crate::graphql::context::act;
use crate::payload;

use super::super::{Submitted, appeal_claim, submit_claim};
use super::Claim;
use super::inputs::{AppealClaimInput, SubmitClaimInput};
use super::parts::ClaimSending;

/// A claim that went out.
#[derive(SimpleObject)]
pub struct ClaimSubmission {
    /// The claim.
    claim: Claim,
    /// The archive that went with it.
    sending: ClaimSending,
    /// Days after the last day to file, where it went late; a payer may refuse it for that.
    days_late: Option<i64>,
}

impl From<Submitted> for ClaimSubmission {
    fn from(done: Submitted) -> Self {
        Self {
            claim: done.claim.into(),
            sending: done.sending.into(),
            days_late: done.days_late,
        }
    }
}

payload! {
    /// What sending gave.
    SubmitClaimPayload {
        /// What went out.
        submission: ClaimSubmission
    }
}

payload! {
    /// What disputing an answer gave.
    AppealClaimPayload {
        /// The claim.
        claim: Claim
    }
}

/// Sending claims to their payers.
#[derive(Default)]
pub struct ClaimSubmissionMutation;

#[Object]
impl ClaimSubmissionMutation {
    /// Sends a claim to its payer, for the first time, with what was asked for, or again, as after a denial or to another
    /// address. A late one goes too.
    async fn submit_claim(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is sent.")] input: SubmitClaimInput,
    ) -> async_graphql::Result<SubmitClaimPayload> {
        let act = act(ctx)?;
        let outcome = async { submit_claim(act, input.command()?).await }.await;
        SubmitClaimPayload::of(outcome.map(ClaimSubmission::from))
    }

    /// Disputes a payer's answer, while something of the claim is open: sends the claim again, with the papers of now.
    async fn appeal_claim(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is sent, and why.")] input: AppealClaimInput,
    ) -> async_graphql::Result<AppealClaimPayload> {
        let act = act(ctx)?;
        let outcome = async { appeal_claim(act, input.command()?).await }.await;
        AppealClaimPayload::of(outcome.map(|done| Claim::from(done.claim)))
    }
}
