//! Drafting claims, their papers, and what becomes of them.

use async_graphql::{Context, Object};

use crate::graphql::context::act;
use crate::payload;

use super::super::{
    add_claim_paper, change_claim, close_claim, draft_claim, make_claim_ready, note_claim_answer,
    note_claim_query, remove_claim_paper, remove_failure_codes, reopen_claim, reopen_closed_claim,
    set_failure_codes, void_claim,
};
use super::inputs::{
    AddClaimPaperInput, ChangeClaimInput, CloseClaimInput, DraftClaimInput, MakeClaimReadyInput,
    NoteClaimAnswerInput, NoteClaimQueryInput, RemoveClaimPaperInput, RemoveFailureCodesInput,
    ReopenClaimInput, ReopenClosedClaimInput, SetFailureCodesInput, VoidClaimInput,
};
use super::{Claim, ClaimPaper, FailureCodeSet};

payload! {
    /// What drafting gave.
    DraftClaimPayload {
        /// The claim.
        claim: Claim
    }
}

payload! {
    /// What changing gave.
    ChangeClaimPayload {
        /// The claim.
        claim: Claim
    }
}

payload! {
    /// What adding a paper gave.
    AddClaimPaperPayload {
        /// The paper.
        claim_paper: ClaimPaper
    }
}

payload! {
    /// What taking a paper off gave.
    RemoveClaimPaperPayload {
        /// The claim without it.
        claim: Claim
    }
}

payload! {
    /// What the look at a claim gave.
    MakeClaimReadyPayload {
        /// The claim.
        claim: Claim
    }
}

payload! {
    /// What taking a claim back gave.
    ReopenClaimPayload {
        /// The claim.
        claim: Claim
    }
}

payload! {
    /// What writing down a question gave.
    NoteClaimQueryPayload {
        /// The claim.
        claim: Claim
    }
}

payload! {
    /// What writing down an answer gave.
    NoteClaimAnswerPayload {
        /// The claim.
        claim: Claim
    }
}

payload! {
    /// What taking a claim up again gave.
    ReopenClosedClaimPayload {
        /// The claim.
        claim: Claim
    }
}

payload! {
    /// What taking a claim back gave.
    VoidClaimPayload {
        /// The claim.
        claim: Claim
    }
}

payload! {
    /// What closing gave.
    CloseClaimPayload {
        /// The claim.
        claim: Claim
    }
}

payload! {
    /// What setting codes gave.
    SetFailureCodesPayload {
        /// The codes.
        failure_codes: FailureCodeSet
    }
}

payload! {
    /// What taking codes away gave.
    RemoveFailureCodesPayload {
        /// The codes that were there.
        failure_codes: FailureCodeSet
    }
}

/// Claims on warranty payers.
#[derive(Default)]
pub struct ClaimsMutation;

#[Object]
impl ClaimsMutation {
    /// Drafts the claim of a payer's invoice, filled from the call: complaint, findings, codes and the papers on record.
    async fn draft_claim(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is drafted.")] input: DraftClaimInput,
    ) -> async_graphql::Result<DraftClaimPayload> {
        let act = act(ctx)?;
        let outcome = async { draft_claim(act, input.command()?).await }.await;
        DraftClaimPayload::of(outcome.map(Claim::from))
    }

    /// Changes what a claim says, while it is a draft or the payer wants to know more.
    async fn change_claim(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is changed.")] input: ChangeClaimInput,
    ) -> async_graphql::Result<ChangeClaimPayload> {
        let act = act(ctx)?;
        let outcome = async { change_claim(act, input.command()?).await }.await;
        ChangeClaimPayload::of(outcome.map(Claim::from))
    }

    /// Adds a paper to a claim that is with the shop.
    async fn add_claim_paper(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is added.")] input: AddClaimPaperInput,
    ) -> async_graphql::Result<AddClaimPaperPayload> {
        let act = act(ctx)?;
        let outcome = async { add_claim_paper(act, input.command()?).await }.await;
        AddClaimPaperPayload::of(outcome.map(ClaimPaper::from))
    }

    /// Takes a paper off a claim that is a draft or asked about; the file itself stays.
    async fn remove_claim_paper(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The paper.")] input: RemoveClaimPaperInput,
    ) -> async_graphql::Result<RemoveClaimPaperPayload> {
        let act = act(ctx)?;
        let outcome = async { remove_claim_paper(act, input.row()?).await };
        RemoveClaimPaperPayload::of(outcome.await.map(Claim::from))
    }

    /// Says that nothing is missing on a claim; each thing that is missing is a problem.
    async fn make_claim_ready(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The claim.")] input: MakeClaimReadyInput,
    ) -> async_graphql::Result<MakeClaimReadyPayload> {
        let act = act(ctx)?;
        let outcome = async { make_claim_ready(act, input.command()?).await }.await;
        MakeClaimReadyPayload::of(outcome.map(Claim::from))
    }

    /// Takes a claim that was ready back to be changed.
    async fn reopen_claim(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The claim.")] input: ReopenClaimInput,
    ) -> async_graphql::Result<ReopenClaimPayload> {
        let act = act(ctx)?;
        let outcome = async { reopen_claim(act, input.command()?).await }.await;
        ReopenClaimPayload::of(outcome.map(Claim::from))
    }

    /// Writes down what the payer asks; `submitClaim` answers it.
    async fn note_claim_query(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is asked.")] input: NoteClaimQueryInput,
    ) -> async_graphql::Result<NoteClaimQueryPayload> {
        let act = act(ctx)?;
        let outcome = async { note_claim_query(act, input.command()?).await }.await;
        NoteClaimQueryPayload::of(outcome.map(Claim::from))
    }

    /// Writes down a payer's answer.
    async fn note_claim_answer(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is answered.")] input: NoteClaimAnswerInput,
    ) -> async_graphql::Result<NoteClaimAnswerPayload> {
        let act = act(ctx)?;
        let outcome = async { note_claim_answer(act, input.command()?).await }.await;
        NoteClaimAnswerPayload::of(outcome.map(Claim::from))
    }

    /// Takes a closed claim up again where it was closed, with the reason: it was closed by mistake, or money is open again.
    async fn reopen_closed_claim(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Why it goes on.")] input: ReopenClosedClaimInput,
    ) -> async_graphql::Result<ReopenClosedClaimPayload> {
        let act = act(ctx)?;
        let outcome = async { reopen_closed_claim(act, input.command()?).await }.await;
        ReopenClosedClaimPayload::of(outcome.map(Claim::from))
    }

    /// Takes a claim back for good, with the reason, wherever it stands: its invoice may be credited then, and what is billed
    /// instead be claimed.
    async fn void_claim(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Why it is taken back.")] input: VoidClaimInput,
    ) -> async_graphql::Result<VoidClaimPayload> {
        let act = act(ctx)?;
        let outcome = async { void_claim(act, input.command()?).await }.await;
        VoidClaimPayload::of(outcome.map(Claim::from))
    }

    /// Closes a claim; while something of it is open, only with a reason.
    async fn close_claim(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is closed.")] input: CloseClaimInput,
    ) -> async_graphql::Result<CloseClaimPayload> {
        let act = act(ctx)?;
        let outcome = async { close_claim(act, input.command()?).await }.await;
        CloseClaimPayload::of(outcome.map(Claim::from))
    }

    /// Says what a failure is called in the industry's scheme; claims drafted from now on take it over.
    async fn set_failure_codes(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is set.")] input: SetFailureCodesInput,
    ) -> async_graphql::Result<SetFailureCodesPayload> {
        let act = act(ctx)?;
        let outcome = async { set_failure_codes(act, input.command()?).await }.await;
        SetFailureCodesPayload::of(outcome.map(FailureCodeSet::from))
    }

    /// Takes the codes of a failure away; claims keep what is written on them.
    async fn remove_failure_codes(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The codes.")] input: RemoveFailureCodesInput,
    ) -> async_graphql::Result<RemoveFailureCodesPayload> {
        let act = act(ctx)?;
        let outcome = async { remove_failure_codes(act, input.row()?).await };
        RemoveFailureCodesPayload::of(outcome.await.map(FailureCodeSet::from))
    }
}
