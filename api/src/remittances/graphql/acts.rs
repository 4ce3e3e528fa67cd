//! What can be done with payers' advices.

use async_graphql::{Context, ID, InputObject, Object};
use chrono::NaiveDate;

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::invoices::graphql::PaymentMethod;
use crate::payload;

use super::super::layouts::set_advice_layout;
use super::super::operations::matching::{
    MatchAdviceRow, SetAdviceRowAside, drop_advice, match_advice_row, set_advice_row_aside,
};
use super::super::operations::posting::{PostAdvice, post_advice};
use super::super::operations::undoing::{UndoAdvice, undo_advice};
use super::super::operations::unmatching::{UnmatchAdviceRow, unmatch_advice_row};
use super::layouts::{AdviceLayout, SetAdviceLayoutInput, SetAdviceLayoutPayload};
use super::{AdviceRow, PayerAdvice};

/// A row of an advice and the claim it is about.
#[derive(InputObject)]
pub struct MatchAdviceRowInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The row.
    row_id: ID,
    /// The claim, of the same payer.
    claim_id: ID,
}

impl MatchAdviceRowInput {
    fn command(self) -> Result<MatchAdviceRow> {
        Ok(MatchAdviceRow {
            idempotency_key: self.idempotency_key,
            row_id: Kind::AdviceRow.row("rowId", &self.row_id)?,
            claim_id: Kind::Claim.row("claimId", &self.claim_id)?,
        })
    }
}

payload! {
    /// What matching a row gave.
    MatchAdviceRowPayload {
        /// The row as it is now.
        row: AdviceRow
    }
}

/// A row of an advice whose claim is the wrong one.
#[derive(InputObject)]
pub struct UnmatchAdviceRowInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The row.
    row_id: ID,
    /// Why the claim is the wrong one.
    reason: String,
}

impl UnmatchAdviceRowInput {
    fn command(self) -> Result<UnmatchAdviceRow> {
        Ok(UnmatchAdviceRow {
            idempotency_key: self.idempotency_key,
            row_id: Kind::AdviceRow.row("rowId", &self.row_id)?,
            reason: self.reason,
        })
    }
}

payload! {
    /// What taking a row off its claim gave.
    UnmatchAdviceRowPayload {
        /// The row as it is now.
        row: AdviceRow
    }
}

/// A row of an advice that is about no claim of the shop.
#[derive(InputObject)]
pub struct SetAdviceRowAsideInput {
    /// The row.
    row_id: ID,
    /// Why it is about none.
    reason: String,
}

impl SetAdviceRowAsideInput {
    fn command(self) -> Result<SetAdviceRowAside> {
        Ok(SetAdviceRowAside {
            row_id: Kind::AdviceRow.row("rowId", &self.row_id)?,
            reason: self.reason,
        })
    }
}

payload! {
    /// What setting a row aside gave.
    SetAdviceRowAsidePayload {
        /// The row as it is now.
        row: AdviceRow
    }
}

/// An advice to drop.
#[derive(InputObject)]
pub struct DropAdviceInput {
    /// The advice; it is not posted.
    advice_id: ID,
}

payload! {
    /// What dropping an advice gave.
    DropAdvicePayload {
        /// The advice as it is now.
        advice: PayerAdvice
    }
}

/// An advice to post.
#[derive(InputObject)]
pub struct PostAdviceInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The advice.
    advice_id: ID,
    /// The day its money came in.
    received_on: NaiveDate,
    /// How it arrived.
    method: PaymentMethod,
    /// What the payer or bank wrote on it, such as the number of a transfer; the advice's own when left out.
    reference: Option<String>,
}

impl PostAdviceInput {
    fn command(self) -> Result<PostAdvice> {
        Ok(PostAdvice {
            idempotency_key: self.idempotency_key,
            advice_id: Kind::PayerAdvice.row("adviceId", &self.advice_id)?,
            received_on: self.received_on,
            method: self.method.into(),
            reference: self.reference,
        })
    }
}

payload! {
    /// What posting an advice gave.
    PostAdvicePayload {
        /// The advice as it is now.
        advice: PayerAdvice
    }
}

/// An advice to undo.
#[derive(InputObject)]
pub struct UndoAdviceInput {
    /// The advice; it paid nothing, or its payment was undone before.
    advice_id: ID,
    /// Why.
    reason: String,
}

impl UndoAdviceInput {
    fn command(self) -> Result<UndoAdvice> {
        Ok(UndoAdvice {
            advice_id: Kind::PayerAdvice.row("adviceId", &self.advice_id)?,
            reason: self.reason,
        })
    }
}

payload! {
    /// What undoing an advice gave.
    UndoAdvicePayload {
        /// The advice as it is now.
        advice: PayerAdvice
    }
}

/// Changes about payers' advices.
#[derive(Default)]
pub struct RemittancesMutation;

#[Object]
impl RemittancesMutation {
    /// Says how the advices of a payer are read. `POST` to `/warranty-payers/{id}/advice` then takes one in, and with
    /// `?preview=true` only shows what each row would make of its claim.
    async fn set_advice_layout(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The layout.")] input: SetAdviceLayoutInput,
    ) -> async_graphql::Result<SetAdviceLayoutPayload> {
        let act = act(ctx)?;
        let outcome = async { set_advice_layout(act, input.command()?).await }.await;
        SetAdviceLayoutPayload::of(outcome.map(AdviceLayout::from))
    }

    /// Says which claim a row is about. Once its advice is posted, its money is laid against that claim's invoice at once.
    async fn match_advice_row(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Row and claim.")] input: MatchAdviceRowInput,
    ) -> async_graphql::Result<MatchAdviceRowPayload> {
        let act = act(ctx)?;
        let outcome = async { match_advice_row(act, input.command()?).await }.await;
        MatchAdviceRowPayload::of(outcome.map(AdviceRow::from))
    }

    /// Takes a row off the wrong claim: it waits for its claim again, and its money is held back for it. The claim stands where
    /// it stood before the row, unless something happened since.
    async fn unmatch_advice_row(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The row and why.")] input: UnmatchAdviceRowInput,
    ) -> async_graphql::Result<UnmatchAdviceRowPayload> {
        let act = act(ctx)?;
        let outcome = async { unmatch_advice_row(act, input.command()?).await }.await;
        UnmatchAdviceRowPayload::of(outcome.map(AdviceRow::from))
    }

    /// Sets a row aside that is about no claim of the shop; its money stays the payer's credit.
    async fn set_advice_row_aside(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The row and why.")] input: SetAdviceRowAsideInput,
    ) -> async_graphql::Result<SetAdviceRowAsidePayload> {
        let act = act(ctx)?;
        let outcome = async { set_advice_row_aside(act, input.command()?).await }.await;
        SetAdviceRowAsidePayload::of(outcome.map(AdviceRow::from))
    }

    /// Drops an advice that was not posted; its file may come again.
    async fn drop_advice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The advice.")] input: DropAdviceInput,
    ) -> async_graphql::Result<DropAdvicePayload> {
        let act = act(ctx)?;
        let outcome = async {
            let id = Kind::PayerAdvice.row("adviceId", &input.advice_id)?;
            drop_advice(act, id).await
        };
        DropAdvicePayload::of(outcome.await.map(PayerAdvice::from))
    }

    /// Records the payment of an advice, lays it against the invoices of its claims row by row, and moves each claim on.
    async fn post_advice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The advice and how its money came in.")] input: PostAdviceInput,
    ) -> async_graphql::Result<PostAdvicePayload> {
        let act = act(ctx)?;
        let outcome = async { post_advice(act, input.command()?).await }.await;
        PostAdvicePayload::of(outcome.map(PayerAdvice::from))
    }

    /// Undoes an advice that paid nothing, or whose payment was undone; its file may come again, and its claims keep what the payer said.
    async fn undo_advice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The advice and why.")] input: UndoAdviceInput,
    ) -> async_graphql::Result<UndoAdvicePayload> {
        let act = act(ctx)?;
        let outcome = async { undo_advice(act, input.command()?).await }.await;
        UndoAdvicePayload::of(outcome.map(PayerAdvice::from))
    }
}
