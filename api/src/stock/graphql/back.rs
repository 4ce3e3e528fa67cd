//! Parts that come back, and receipts that are taken back.

use async_graphql::{Context, Enum, ID, InputObject, Object};
use chrono::NaiveDate;

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::ExactDecimal;
use crate::payload;

use super::super::operations;
use super::StockMove;

/// Parts that come back unused from a completed call, or from who bought them.
#[derive(InputObject)]
pub struct TakePartBackInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The move by which they left.
    move_id: ID,
    /// How many; above zero.
    quantity: ExactDecimal,
    /// Where they are put; where they came from when left out.
    place_id: Option<ID>,
    /// Why.
    reason: String,
    /// The day they came back; today when left out.
    taken_back_on: Option<NaiveDate>,
}

impl TakePartBackInput {
    fn command(self) -> Result<operations::TakePartBack> {
        Ok(operations::TakePartBack {
            idempotency_key: self.idempotency_key,
            move_id: Kind::StockMove.row("moveId", &self.move_id)?,
            quantity: self.quantity.0,
            place_id: Kind::StockPlace.row_if_any("placeId", self.place_id.as_ref())?,
            reason: self.reason,
            taken_back_on: self.taken_back_on,
        })
    }
}

payload! {
    /// What taking parts back gave.
    TakePartBackPayload {
        /// The move by which they came back.
        stock_move: StockMove
    }
}

/// Why a receipt is taken back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "operations::WhyBack")]
pub enum ReceiptTakenBackBecause {
    /// They had not come, or not so many; an order waits for them again.
    WrittenWrongly,
    /// They went back to their supplier, who will not bill them.
    SentToSupplier,
}

/// A receipt, or a part of it, to take back before its bill is there.
#[derive(InputObject)]
pub struct TakeReceiptBackInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The move by which they came in.
    move_id: ID,
    /// How many; above zero.
    quantity: ExactDecimal,
    /// Why.
    because: ReceiptTakenBackBecause,
    /// Where they lie; where they were put when left out.
    place_id: Option<ID>,
    /// Why, in words.
    reason: String,
    /// The day they went back, or it was found out; today when left out.
    taken_back_on: Option<NaiveDate>,
}

impl TakeReceiptBackInput {
    fn command(self) -> Result<operations::TakeReceiptBack> {
        Ok(operations::TakeReceiptBack {
            idempotency_key: self.idempotency_key,
            move_id: Kind::StockMove.row("moveId", &self.move_id)?,
            quantity: self.quantity.0,
            why: self.because.into(),
            place_id: Kind::StockPlace.row_if_any("placeId", self.place_id.as_ref())?,
            reason: self.reason,
            taken_back_on: self.taken_back_on,
        })
    }
}

payload! {
    /// What taking a receipt back gave.
    TakeReceiptBackPayload {
        /// The move by which they went out again.
        stock_move: StockMove
    }
}

/// Taking back.
#[derive(Default)]
pub struct StockBackMutation;

#[Object]
impl StockBackMutation {
    /// Takes parts of a completed call back that were not needed, or parts sold by an invoice without a call, at what they cost
    /// when they left. What was billed for them is not changed; credit the invoice for that. A credit note moves no parts: those
    /// sold without a call stay out of stock until they are taken back here, also where they are billed anew, which takes them
    /// out again.
    async fn take_part_back(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What comes back.")] input: TakePartBackInput,
    ) -> async_graphql::Result<TakePartBackPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::take_part_back(act, input.command()?).await }.await;
        TakePartBackPayload::of(outcome.map(StockMove::from))
    }

    /// Takes a receipt back, or some of its pieces, at what they came in at: one that was written down wrongly, or whose parts
    /// went back unbilled. What is billed is given back by a supplier's credit. An order waits for them again, unless it was
    /// closed by hand: it stays closed, and they are then received without it.
    async fn take_receipt_back(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which, and why.")] input: TakeReceiptBackInput,
    ) -> async_graphql::Result<TakeReceiptBackPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::take_receipt_back(act, input.command()?).await }.await;
        TakeReceiptBackPayload::of(outcome.map(StockMove::from))
    }
}
