//! What changes quantities and values.

use async_graphql::{Context, ID, InputObject, Object};
use chrono::NaiveDate;

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::payload;

use super::super::operations;
use super::StockMove;

/// Parts that came in without a bill.
#[derive(InputObject)]
pub struct ReceivePartsInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The part.
    part_id: ID,
    /// How many; above zero.
    quantity: ExactDecimal,
    /// What one cost.
    unit_cost: Money,
    /// Where they are put; the main shelf when left out.
    place_id: Option<ID>,
    /// The day they came; today when left out.
    received_on: Option<NaiveDate>,
    /// The order they were sent for.
    order_id: Option<ID>,
    /// Code of the account at a bank they were paid from at once; when left out, the bill is still to come.
    paid_from: Option<String>,
    /// Such as the number on the packing slip.
    note: Option<String>,
}

impl ReceivePartsInput {
    fn command(self) -> Result<operations::ReceiveParts> {
        Ok(operations::ReceiveParts {
            idempotency_key: self.idempotency_key,
            part_id: Kind::Part.row("partId", &self.part_id)?,
            quantity: self.quantity.0,
            unit_cost: self.unit_cost.0,
            place_id: Kind::StockPlace.row_if_any("placeId", self.place_id.as_ref())?,
            received_on: self.received_on,
            order_id: Kind::PartOrder.row_if_any("orderId", self.order_id.as_ref())?,
            paid_from: self.paid_from,
            note: self.note,
        })
    }
}

payload! {
    /// What receiving parts gave.
    ReceivePartsPayload {
        /// The move by which they came in.
        stock_move: StockMove
    }
}

/// So many of one part.
#[derive(InputObject)]
pub struct MoveLineInput {
    /// The part.
    part_id: ID,
    /// How many; above zero.
    quantity: ExactDecimal,
}

/// Parts to move from one place to another.
#[derive(InputObject)]
pub struct MoveStockInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// Where they lie.
    from_id: ID,
    /// Where they go.
    to_id: ID,
    /// Which parts, each once.
    lines: Vec<MoveLineInput>,
}

impl MoveStockInput {
    fn command(self) -> Result<operations::MoveStock> {
        let line = |(at, line): (usize, MoveLineInput)| {
            Ok(operations::MoveLine {
                part_id: Kind::Part.row(&format!("lines.{at}.partId"), &line.part_id)?,
                quantity: line.quantity.0,
            })
        };
        Ok(operations::MoveStock {
            idempotency_key: self.idempotency_key,
            from_id: Kind::StockPlace.row("fromId", &self.from_id)?,
            to_id: Kind::StockPlace.row("toId", &self.to_id)?,
            lines: self
                .lines
                .into_iter()
                .enumerate()
                .map(line)
                .collect::<Result<_>>()?,
        })
    }
}

payload! {
    /// What moving parts gave.
    MoveStockPayload {
        /// The moves into the second place, one for each line.
        stock_moves: Vec<StockMove>
    }
}

/// How many of one part were counted.
#[derive(InputObject)]
pub struct CountLineInput {
    /// The part.
    part_id: ID,
    /// How many lie there; zero for none.
    quantity: ExactDecimal,
    /// What one of those found too much cost; as the others, or by the catalogue, when left out.
    unit_cost: Option<Money>,
}

/// A count of parts at one place.
#[derive(InputObject)]
pub struct CountStockInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The place.
    place_id: ID,
    /// The day it counts for; today when left out. What was counted is compared with what the record says of that day.
    counted_on: Option<NaiveDate>,
    /// Whether this takes over stock that was there before it was recorded: its value comes out of what the books had of
    /// parts, and beyond that is the owner's equity. Otherwise differences go to stock differences. Only the owner takes
    /// over, only more than the record has, and only parts that were neither bought nor counted before.
    #[graphql(default)]
    takes_over: bool,
    /// Such as who counted.
    note: Option<String>,
    /// Which parts, each once; those not named stay as they are.
    lines: Vec<CountLineInput>,
}

impl CountStockInput {
    fn command(self) -> Result<operations::CountStock> {
        let line = |(at, line): (usize, CountLineInput)| {
            Ok(operations::CountLine {
                part_id: Kind::Part.row(&format!("lines.{at}.partId"), &line.part_id)?,
                quantity: line.quantity.0,
                unit_cost: line.unit_cost.map(|cost| cost.0),
            })
        };
        Ok(operations::CountStock {
            idempotency_key: self.idempotency_key,
            place_id: Kind::StockPlace.row("placeId", &self.place_id)?,
            counted_on: self.counted_on,
            takes_over: self.takes_over,
            note: self.note,
            lines: self
                .lines
                .into_iter()
                .enumerate()
                .map(line)
                .collect::<Result<_>>()?,
        })
    }
}

payload! {
    /// What counting gave.
    CountStockPayload {
        /// A move for each part of which another number was found.
        stock_moves: Vec<StockMove>
    }
}

/// Pieces that are gone, or there, for a reason.
#[derive(InputObject)]
pub struct AdjustStockInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The part.
    part_id: ID,
    /// The place.
    place_id: ID,
    /// How many more; below zero for pieces that are gone.
    change: ExactDecimal,
    /// What one of those that are there cost; as the others, or by the catalogue, when left out.
    unit_cost: Option<Money>,
    /// Why, such as damage.
    reason: String,
    /// The day it counts for; today when left out.
    adjusted_on: Option<NaiveDate>,
}

impl AdjustStockInput {
    fn command(self) -> Result<operations::AdjustStock> {
        Ok(operations::AdjustStock {
            idempotency_key: self.idempotency_key,
            part_id: Kind::Part.row("partId", &self.part_id)?,
            place_id: Kind::StockPlace.row("placeId", &self.place_id)?,
            change: self.change.0,
            unit_cost: self.unit_cost.map(|cost| cost.0),
            reason: self.reason,
            adjusted_on: self.adjusted_on,
        })
    }
}

payload! {
    /// What adjusting gave.
    AdjustStockPayload {
        /// The move.
        stock_move: StockMove
    }
}

/// Where value of before belongs that no count gave to a part.
#[derive(InputObject)]
pub struct WriteOffUnassignedStockInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// Code of the account.
    account: String,
    /// Why.
    reason: String,
    /// The day it counts for; today when left out.
    posted_on: Option<NaiveDate>,
}

payload! {
    /// What posting that value gave.
    WriteOffUnassignedStockPayload {
        /// The move.
        stock_move: StockMove
    }
}

/// Changing the stock.
#[derive(Default)]
pub struct StockMutation;

#[Object]
impl StockMutation {
    /// Takes parts into stock without a bill: paid at once, or with the bill still to come.
    async fn receive_parts(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What came.")] input: ReceivePartsInput,
    ) -> async_graphql::Result<ReceivePartsPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::receive_parts(act, input.command()?).await }.await;
        ReceivePartsPayload::of(outcome.map(StockMove::from))
    }

    /// Moves parts from place to place; a technician into the own van or out of it.
    async fn move_stock(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What goes where.")] input: MoveStockInput,
    ) -> async_graphql::Result<MoveStockPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::move_stock(act, input.command()?).await }.await;
        MoveStockPayload::of(outcome.map(all))
    }

    /// Counts parts at a place; a technician those in the own van, without saying what they cost; only the owner takes
    /// stock over.
    async fn count_stock(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What was counted.")] input: CountStockInput,
    ) -> async_graphql::Result<CountStockPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::count_stock(act, input.command()?).await }.await;
        CountStockPayload::of(outcome.map(all))
    }

    /// Adjusts a quantity for a reason; the cost goes to stock differences.
    async fn adjust_stock(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The change and why.")] input: AdjustStockInput,
    ) -> async_graphql::Result<AdjustStockPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::adjust_stock(act, input.command()?).await }.await;
        AdjustStockPayload::of(outcome.map(StockMove::from))
    }

    /// Posts value that the books had of parts before parts were recorded, and that no count gave to a part.
    async fn write_off_unassigned_stock(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Where it belongs.")] input: WriteOffUnassignedStockInput,
    ) -> async_graphql::Result<WriteOffUnassignedStockPayload> {
        let new = operations::WriteOffUnassignedStock {
            idempotency_key: input.idempotency_key,
            account: input.account,
            reason: input.reason,
            posted_on: input.posted_on,
        };
        let outcome = operations::write_off_unassigned_stock(act(ctx)?, new).await;
        WriteOffUnassignedStockPayload::of(outcome.map(StockMove::from))
    }
}

fn all(rows: Vec<nameplate_entities::stock_move::Model>) -> Vec<StockMove> {
    rows.into_iter().map(StockMove::from).collect()
}
