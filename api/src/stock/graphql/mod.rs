//! Parts in stock in the graph: places, levels, holdings, moves and what they are worth.

pub mod back;
pub mod moves;
pub mod mutations;
pub mod orders;
pub mod places;

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, ID, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::{
    part, part_used, remedy, stock_holding, stock_layer, stock_level, stock_move, unbilled_receipt,
};
use nameplate_rules::money::Cents;
use nameplate_rules::stock::share;
use rust_decimal::Decimal;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use crate::calls::graphql::{Finding, PartUsed, ServiceCall};
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::reader;
use crate::graphql::error::{bad_input, edge};
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::pricing::graphql::Part;

use super::store::{self, orders as order_store, values};

pub use back::StockBackMutation;
pub use moves::{StockMove, StockMoveKind, UnbilledReceipt};
pub use mutations::StockMutation;
pub use orders::{PartOrder, PartOrdersMutation, PartOrdersQuery};
pub use places::{StockMethod, StockPlace, StockPlacesMutation, StockTerms};

/// How many of a part lie at a place.
pub struct StockLevel {
    row: stock_level::Model,
}

impl From<stock_level::Model> for StockLevel {
    fn from(row: stock_level::Model) -> Self {
        Self { row }
    }
}

impl StockLevel {
    /// The level with this id.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<stock_level::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }
}

/// How many of a part lie at a place.
#[Object]
impl StockLevel {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::StockLevel.id(self.row.id)
    }

    /// The part.
    async fn part(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        Part::of(ctx, self.row.part_id).await
    }

    /// The place.
    async fn place(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<StockPlace>> {
        StockPlace::of(ctx, self.row.place_id).await
    }

    /// How many; below zero where more was fitted than was on record.
    async fn quantity(&self) -> ExactDecimal {
        self.row.quantity.into()
    }

    /// Fewer than these are too few.
    async fn reorder_point(&self) -> Option<ExactDecimal> {
        self.row.reorder_point.map(Into::into)
    }

    /// Whether there are too few.
    async fn is_low(&self) -> bool {
        self.row.is_low
    }
}

/// A part over all places of the shop.
pub struct PartStock {
    part_id: i64,
    quantity: Decimal,
    value_cents: i64,
}

impl From<stock_holding::Model> for PartStock {
    fn from(row: stock_holding::Model) -> Self {
        Self {
            part_id: row.part_id,
            quantity: row.quantity.0,
            value_cents: row.value_cents,
        }
    }
}

impl From<values::Valued> for PartStock {
    fn from(row: values::Valued) -> Self {
        Self {
            part_id: row.part_id,
            quantity: row.quantity,
            value_cents: row.value_cents,
        }
    }
}

/// So many pieces that came in together, or are valued alike.
#[derive(SimpleObject)]
pub struct StockLayer {
    /// How many; below zero for pieces that are short.
    quantity: ExactDecimal,
    /// What they are worth.
    value: Money,
}

/// A part over all places of the shop.
#[Object]
impl PartStock {
    /// The part.
    async fn part(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        Part::of(ctx, self.part_id).await
    }

    /// How many; below zero where more was fitted than is on record.
    async fn quantity(&self) -> ExactDecimal {
        ExactDecimal(self.quantity)
    }

    /// What they are worth, at what they cost.
    async fn value(&self) -> Money {
        Money::cents(self.value_cents)
    }

    /// Value over quantity, rounded half up; null where there is none.
    async fn unit_value(&self) -> Option<Money> {
        let value = Cents(self.value_cents.saturating_abs());
        let each = share(value, Decimal::ONE, self.quantity.abs()).ok();
        each.map(Money::from)
    }

    /// How many lie at each place, oldest record first.
    async fn levels(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<StockLevel>> {
        let column = stock_level::Column::PartId;
        let rows = loaders::children::<stock_level::Entity>(ctx, column, self.part_id).await?;
        Ok(rows.into_iter().map(StockLevel::from).collect())
    }

    /// What makes up the value now, oldest first.
    async fn layers(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<StockLayer>> {
        let column = stock_layer::Column::PartId;
        let rows = loaders::children::<stock_layer::Entity>(ctx, column, self.part_id).await?;
        let shown = rows.into_iter().map(|row| StockLayer {
            quantity: row.quantity.into(),
            value: Money::cents(row.value_cents),
        });
        Ok(shown.collect())
    }
}

/// A part fitted on a call that is not completed: not yet taken from stock.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct FittedPart {
    /// The part as it was written down.
    part_used: PartUsed,
    #[graphql(skip)]
    remedy_id: i64,
}

impl From<part_used::Model> for FittedPart {
    fn from(row: part_used::Model) -> Self {
        Self {
            remedy_id: row.remedy_id,
            part_used: row.into(),
        }
    }
}

#[ComplexObject]
impl FittedPart {
    /// The call; null where the caller does not see it.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        let Some(done) = loaders::row::<remedy::Entity>(ctx, self.remedy_id).await? else {
            return Ok(None);
        };
        match Finding::of(ctx, done.finding_id).await? {
            Some(finding) => ServiceCall::seen(ctx, finding.row.call_id).await,
            None => Ok(None),
        }
    }
}

/// What the stock was worth at the end of a day; the total is the balance of parts stock.
#[derive(SimpleObject)]
pub struct StockValue {
    /// The day.
    on: NaiveDate,
    /// All of it.
    total: Money,
    /// What the books had of parts before parts were recorded, and no count took over yet.
    unassigned: Money,
    /// By part, the largest value first; at most as many as were asked for.
    parts: Vec<PartStock>,
    /// Whether there are more parts than these; the total is of all.
    more: bool,
}

/// Most parts in one answer.
const PARTS_MAX: i32 = 100;

/// Which moves are wanted: those that fit everything given.
#[derive(async_graphql::InputObject, Default)]
#[expect(
    clippy::struct_field_names,
    reason = "clients know ids by names that end so"
)]
pub struct StockMoveFilter {
    /// Of this part.
    part_id: Option<ID>,
    /// At this place.
    place_id: Option<ID>,
    /// For this call.
    call_id: Option<ID>,
    /// Sold by this invoice without a call.
    invoice_id: Option<ID>,
}

/// Parts in stock.
#[derive(Default)]
pub struct StockQuery;

#[Object]
impl StockQuery {
    /// Every place where parts lie, in use or not; few by nature.
    #[graphql(complexity = "20 * child_complexity")]
    async fn stock_places(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<StockPlace>> {
        let rows = store::places(reader(ctx)?).await.map_err(edge)?;
        Ok(rows.into_iter().map(StockPlace::from).collect())
    }

    /// How stock is valued.
    async fn stock_terms(&self, ctx: &Context<'_>) -> async_graphql::Result<StockTerms> {
        let row = store::terms(reader(ctx)?).await.map_err(edge)?;
        Ok(row.into())
    }

    /// How many lie where, the newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "a page of a narrowed list has as many"
    )]
    async fn stock_levels(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only at this place.")] place_id: Option<ID>,
        #[graphql(desc = "Only where there are fewer than the reorder point.", default)]
        low_only: bool,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, StockLevel>> {
        let mut select = stock_level::Entity::find();
        if let Some(id) = Kind::StockPlace
            .row_if_any("placeId", place_id.as_ref())
            .map_err(edge)?
        {
            select = select.filter(stock_level::Column::PlaceId.eq(id));
        }
        if low_only {
            select = select.filter(stock_level::Column::IsLow.eq(true));
        }
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let id = stock_level::Column::Id;
        let db = reader(ctx)?;
        connection::newest_first(db, select, id, page, (|row| row.id, StockLevel::from)).await
    }

    /// A part over all places; none where it was never in stock.
    async fn part_stock(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The part.")] part_id: ID,
    ) -> async_graphql::Result<Option<PartStock>> {
        let Ok(id) = Kind::Part.row("partId", &part_id) else {
            return Ok(None);
        };
        let row = loaders::row::<stock_holding::Entity>(ctx, id).await?;
        Ok(row.map(PartStock::from))
    }

    /// Changes of the stock, the newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn stock_moves(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which ones.", default)] filter: StockMoveFilter,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, StockMove>> {
        let narrow = |kind: Kind, name: &str, id: &Option<ID>| {
            kind.row_if_any(&format!("filter.{name}"), id.as_ref())
                .map_err(edge)
        };
        let mut select = stock_move::Entity::find();
        if let Some(id) = narrow(Kind::Part, "partId", &filter.part_id)? {
            select = select.filter(stock_move::Column::PartId.eq(id));
        }
        if let Some(id) = narrow(Kind::StockPlace, "placeId", &filter.place_id)? {
            select = select.filter(stock_move::Column::PlaceId.eq(id));
        }
        if let Some(id) = narrow(Kind::ServiceCall, "callId", &filter.call_id)? {
            select = select.filter(stock_move::Column::CallId.eq(id));
        }
        if let Some(id) = narrow(Kind::Invoice, "invoiceId", &filter.invoice_id)? {
            select = select.filter(stock_move::Column::InvoiceId.eq(id));
        }
        connection::newest_first(
            reader(ctx)?,
            select,
            stock_move::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, StockMove::from),
        )
        .await
    }

    /// What the stock was worth at the end of a day.
    #[graphql(complexity = "200 + 20 * child_complexity")]
    async fn stock_value(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day.")] on: NaiveDate,
        #[graphql(desc = "At most this many parts; 1 to 100.", default = 25)] first: i32,
    ) -> async_graphql::Result<StockValue> {
        let count = usize::try_from(first).unwrap_or(0);
        if count == 0 || first > PARTS_MAX {
            return Err(bad_input("first", "Ask for 1 to 100."));
        }
        let day = values::on_day(reader(ctx)?, on, Some(count)).await;
        let day = day.map_err(edge)?;
        let parts = day.parts.into_iter().map(PartStock::from);
        Ok(StockValue {
            on,
            total: Money::cents(day.total_cents),
            unassigned: Money::cents(day.unassigned_cents),
            parts: parts.collect(),
            more: day.more,
        })
    }

    /// Parts fitted on calls that are not completed, and so not yet taken from stock, the newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn fitted_parts(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, FittedPart>> {
        connection::newest_first(
            reader(ctx)?,
            order_store::fitted_not_taken(),
            part_used::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, FittedPart::from),
        )
        .await
    }

    /// Parts that came in and whose bill is still to come, the newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn unbilled_receipts(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, UnbilledReceipt>> {
        let open =
            unbilled_receipt::Entity::find().filter(unbilled_receipt::Column::IsOpen.eq(true));
        connection::newest_first(
            reader(ctx)?,
            open,
            unbilled_receipt::Column::MoveId,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.move_id, UnbilledReceipt::from),
        )
        .await
    }
}

/// The number of a part, for records that show no more of it.
async fn part_row(
    ctx: &Context<'_>,
    part_id: Option<i64>,
) -> async_graphql::Result<Option<part::Model>> {
    match part_id {
        Some(id) => loaders::row::<part::Entity>(ctx, id).await,
        None => Ok(None),
    }
}
