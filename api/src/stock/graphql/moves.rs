//! Moves of stock, and parts that wait for their bill.

use async_graphql::{Context, Enum, ID, Object};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{stock_move, unbilled_receipt};

use crate::calls::graphql::ServiceCall;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::invoices::graphql::Invoice;
use crate::pricing::graphql::{Part, Supplier};
use crate::shop::graphql::Staff;

use super::{PartOrder, StockPlace, part_row};

/// What changed the stock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::StockMoveKind")]
pub enum StockMoveKind {
    /// Came from a supplier.
    Received,
    /// Fitted on a call, or sold by an invoice without one.
    Used,
    /// Came back unused.
    TakenBack,
    /// Went from one place to another; there are two moves.
    Moved,
    /// A count found another quantity.
    Counted,
    /// Adjusted for a reason.
    Adjusted,
    /// Went back to its supplier, or had not come at all.
    SentBack,
    /// Parts that left before they came in cost something else than was assumed; or what a receipt taken back had cost others.
    Settled,
    /// Was in the books before parts were recorded.
    BroughtForward,
    /// Value of before that a count gave to a part.
    Assigned,
}

/// One change of the stock; it is never changed itself.
pub struct StockMove {
    row: stock_move::Model,
}

impl From<stock_move::Model> for StockMove {
    fn from(row: stock_move::Model) -> Self {
        Self { row }
    }
}

impl StockMove {
    /// The move behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<stock_move::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }

    /// The move with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if act(ctx)?.is_desk() {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }
}

/// One change of the stock; it is never changed itself.
#[Object]
impl StockMove {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::StockMove.id(self.row.id)
    }

    /// What it was.
    async fn kind(&self) -> StockMoveKind {
        self.row.kind.into()
    }

    /// The day it counts for.
    async fn on(&self) -> NaiveDate {
        self.row.moved_on
    }

    /// When it was recorded.
    async fn recorded_at(&self) -> DateTime<Utc> {
        self.row.recorded_at
    }

    /// Who recorded it.
    async fn recorded_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.row.recorded_by {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The part; null for value that is assigned to none.
    async fn part(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        Ok(part_row(ctx, self.row.part_id).await?.map(Part::from))
    }

    /// The place; null where only the value changed.
    async fn place(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<StockPlace>> {
        match self.row.place_id {
            Some(id) => StockPlace::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// How many; below zero for what left.
    async fn quantity(&self) -> ExactDecimal {
        self.row.quantity.into()
    }

    /// How many lay at the place afterwards.
    async fn place_after(&self) -> Option<ExactDecimal> {
        self.row.place_after.map(Into::into)
    }

    /// How many the shop had afterwards.
    async fn part_after(&self) -> Option<ExactDecimal> {
        self.row.part_after.map(Into::into)
    }

    /// By how much the value of the stock grew; below zero for what left.
    async fn value(&self) -> Money {
        Money::cents(self.row.value_cents)
    }

    /// What the part was worth afterwards.
    async fn value_after(&self) -> Option<Money> {
        self.row.value_after_cents.map(Money::cents)
    }

    /// The call it was for.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        match self.row.call_id {
            Some(id) => ServiceCall::seen(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The order it was sent for.
    async fn part_order(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<PartOrder>> {
        match self.row.part_order_id {
            Some(id) => PartOrder::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The invoice without a call by which they were sold.
    async fn invoice(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Invoice>> {
        match self.row.invoice_id {
            Some(id) => Invoice::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// For a settlement: the move by which the parts had left before they came in.
    async fn settles(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<StockMove>> {
        match self.row.settles_move_id {
            Some(id) => Self::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The move that it takes back or belongs to.
    async fn undoes(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<StockMove>> {
        match self.row.undoes_move_id {
            Some(id) => Self::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Why, in words.
    async fn reason(&self) -> Option<&str> {
        self.row.reason.as_deref()
    }
}

/// Parts that came in and whose bill is still to come.
pub struct UnbilledReceipt {
    row: unbilled_receipt::Model,
}

impl From<unbilled_receipt::Model> for UnbilledReceipt {
    fn from(row: unbilled_receipt::Model) -> Self {
        Self { row }
    }
}

/// Parts that came in and whose bill is still to come.
#[Object]
impl UnbilledReceipt {
    /// The move by which they came in.
    async fn receipt(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<StockMove>> {
        StockMove::of(ctx, self.row.move_id).await
    }

    /// Who will bill them, as far as known.
    async fn supplier(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Supplier>> {
        match self.row.supplier_id {
            Some(id) => Supplier::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// What all of them were said to cost.
    async fn cost(&self) -> Money {
        Money::cents(self.row.cost_cents)
    }

    /// How many of them are still to be billed.
    async fn open_quantity(&self) -> ExactDecimal {
        self.row.open_quantity.into()
    }

    /// What those were said to cost.
    async fn open_cost(&self) -> Money {
        Money::cents(self.row.open_cents)
    }
}
