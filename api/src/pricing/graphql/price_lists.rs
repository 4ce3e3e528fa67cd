//! Suppliers' price lists as the desk looks through them; they are begun and taken over in `price_list_mutations`.

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, Enum, ID, Object, SimpleObject};
use chrono::{DateTime, TimeDelta, Utc};
use nameplate_entities::kinds::PriceListState as State;
use nameplate_entities::{price_list, price_list_fault, price_list_row};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use crate::graphql::connection::{self, LineCursor, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;

use super::super::price_lists::store;
use super::{Part, PartCondition, Supplier};

/// A list that received nothing for so long was broken off, for instance because the server ended.
const SILENCE: TimeDelta = TimeDelta::minutes(2);

/// Where a supplier's price list stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::PriceListState")]
pub enum PriceListState {
    /// Its columns are named; nothing was sent yet.
    Begun,
    /// Rows arrive.
    Receiving,
    /// The upload ended too early; send it again.
    BrokenOff,
    /// It has not the columns that were named, or is no CSV; its faults say why.
    Refused,
    /// Every row was read; look through it and take it over.
    Staged,
    /// Its parts and costs are in the catalogue.
    TakenOver,
    /// Given up.
    Discarded,
}

/// What a row of a price list would do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::RowOutcome")]
pub enum PriceListRowOutcome {
    /// Not compared with the catalogue yet.
    Unread,
    /// Nothing, it is at fault.
    Bad,
    /// Record a part.
    New,
    /// Change cost or list price of a part.
    Changed,
    /// Nothing, the catalogue says the same.
    Same,
}

/// What is wrong in a line of a price list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::RowFault")]
pub enum PriceListFaultReason {
    /// Nothing stands where something is needed.
    Empty,
    /// A field or a row is too long.
    TooLong,
    /// No text in UTF-8.
    NotText,
    /// No amount.
    NotAmount,
    /// A comma in an amount, which may mean either.
    DecimalComma,
    /// An amount below zero or too high.
    OutOfRange,
    /// The number stands in several lines.
    Twice,
    /// The part comes from another supplier.
    OtherSupplier,
    /// The first line lacks a column that was named.
    Columns,
    /// A quotation mark opens here and is not closed where its field ends.
    OpenQuote,
    /// A cost of nothing, where the catalogue says otherwise or knows no such part.
    NoCost,
}

/// What is wrong in a line of a price list.
#[derive(SimpleObject)]
pub struct PriceListFault {
    /// The line on which the row begins, from 1.
    line: i64,
    /// The column, by its name in the list; null for the whole row.
    column: Option<String>,
    /// Why.
    reason: PriceListFaultReason,
    /// The same in words.
    message: String,
}

impl From<price_list_fault::Model> for PriceListFault {
    fn from(row: price_list_fault::Model) -> Self {
        Self {
            line: row.line,
            column: row.column_name,
            reason: row.reason.into(),
            message: row.message,
        }
    }
}

/// One row of a price list that could be read.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct PriceListRow {
    /// The line on which it begins, from 1.
    line: i64,
    /// Number of the part.
    number: String,
    /// What it is.
    description: String,
    /// What it costs by the list.
    cost: Money,
    /// Its list price by the list.
    list_price: Option<Money>,
    /// What it cost when the list was compared with the catalogue; null for a new part.
    old_cost: Option<Money>,
    /// What taking over would do.
    outcome: PriceListRowOutcome,
    #[graphql(skip)]
    part_id: Option<i64>,
}

impl From<price_list_row::Model> for PriceListRow {
    fn from(row: price_list_row::Model) -> Self {
        Self {
            line: row.line,
            number: row.number,
            description: row.description,
            cost: Money::cents(row.cost_cents),
            list_price: row.list_price_cents.map(Money::cents),
            old_cost: row.old_cost_cents.map(Money::cents),
            outcome: row.outcome.into(),
            part_id: row.part_id,
        }
    }
}

#[ComplexObject]
impl PriceListRow {
    /// The part on record with this number.
    async fn part(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        match self.part_id {
            Some(id) => Part::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// Parts that would sell below what they cost.
#[derive(SimpleObject)]
pub struct SoldBelowCost {
    /// How many.
    count: i64,
    /// The first 20 of them, by line.
    first: Vec<PriceListRow>,
}

/// A supplier's list of prices. Nothing of it is in the catalogue before it is taken over.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct PriceList {
    /// Name, such as the period it is for.
    name: String,
    /// Rows read so far.
    row_count: i64,
    /// Rows at fault, or of which it cannot be told which is right.
    bad_row_count: i64,
    /// Parts that are not on record.
    new_count: i64,
    /// Parts whose cost or list price differs.
    changed_count: i64,
    /// Parts that are on record just so.
    same_count: i64,
    /// SHA-256 of what was sent, in hexadecimal.
    content_hash: Option<String>,
    /// Whether the parts it records for the first time are new, used or rebuilt; null where nobody said.
    part_condition: Option<PartCondition>,
    /// When it was begun.
    begun_at: DateTime<Utc>,
    /// When it was taken over.
    taken_over_at: Option<DateTime<Utc>>,
    #[graphql(skip)]
    row: price_list::Model,
}

impl From<price_list::Model> for PriceList {
    fn from(row: price_list::Model) -> Self {
        Self {
            name: row.name.clone(),
            row_count: row.row_count,
            bad_row_count: row.bad_row_count,
            new_count: row.new_count,
            changed_count: row.changed_count,
            same_count: row.same_count,
            content_hash: row.content_hash.clone(),
            part_condition: row.part_condition.map(Into::into),
            begun_at: row.begun_at,
            taken_over_at: row.taken_over_at,
            row,
        }
    }
}

impl PriceList {
    /// The list with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        Ok(loaders::row::<price_list::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }
}

#[ComplexObject]
impl PriceList {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::PriceList.id(self.row.id)
    }

    /// Where it stands.
    async fn state(&self, ctx: &Context<'_>) -> async_graphql::Result<PriceListState> {
        let is_silent = act(ctx)?.at - self.row.touched_at > SILENCE;
        Ok(if self.row.state == State::Receiving && is_silent {
            PriceListState::BrokenOff
        } else {
            self.row.state.into()
        })
    }

    /// Where its rows are sent: `POST` with the type `text/csv` in UTF-8, at most 64 MiB, with the caller's token.
    async fn upload_path(&self) -> String {
        format!("/price-lists/{}", Kind::PriceList.id(self.row.id).as_str())
    }

    /// Who sent it.
    async fn supplier(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Supplier>> {
        Supplier::of(ctx, self.row.supplier_id).await
    }

    /// The 20 parts whose cost would rise most, the most first.
    #[graphql(complexity = "20 + 20 * child_complexity")]
    async fn largest_rises(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<PriceListRow>> {
        let rows = store::largest_rises(reader(ctx)?, self.row.id).await;
        Ok(rows
            .map_err(edge)?
            .into_iter()
            .map(PriceListRow::from)
            .collect())
    }

    /// Parts that would sell below what they cost, because their fixed price or list price holds them.
    #[graphql(complexity = "20 + 20 * child_complexity")]
    async fn sold_below_cost(&self, ctx: &Context<'_>) -> async_graphql::Result<SoldBelowCost> {
        let (count, first) = store::sold_below_cost(reader(ctx)?, self.row.id)
            .await
            .map_err(edge)?;
        Ok(SoldBelowCost {
            count,
            first: first.into_iter().map(PriceListRow::from).collect(),
        })
    }
}

/// Suppliers' price lists.
#[derive(Default)]
pub struct PriceListsQuery;

#[Object]
impl PriceListsQuery {
    /// Price lists, the newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn price_lists(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, PriceList>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        connection::newest_first(
            reader(ctx)?,
            price_list::Entity::find(),
            price_list::Column::Id,
            page,
            (|row| row.id, PriceList::from),
        )
        .await
    }

    /// One price list with its progress; null if there is none with this id.
    async fn price_list(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Its id.")] id: ID,
    ) -> async_graphql::Result<Option<PriceList>> {
        match Kind::PriceList.row("id", &id) {
            Ok(row) => PriceList::find(ctx, row).await,
            Err(_) => Ok(None),
        }
    }

    /// What is wrong in a price list, line by line; at most 10,000 are kept.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn price_list_faults(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The list.")] price_list_id: ID,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<LineCursor, PriceListFault>> {
        let list = Kind::PriceList.row("priceListId", &price_list_id);
        let list = list.map_err(edge)?;
        let page = Page {
            first,
            after,
            last,
            before,
        };
        connection::by_line(
            reader(ctx)?,
            price_list_fault::Entity::find().filter(price_list_fault::Column::PriceListId.eq(list)),
            (price_list_fault::Column::Line, price_list_fault::Column::Id),
            page,
            (
                |row| LineCursor {
                    line: row.line,
                    id: row.id,
                },
                PriceListFault::from,
            ),
        )
        .await
    }
}
