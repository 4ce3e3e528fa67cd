//! Suppliers' price lists: begun here, sent to the upload path, looked through and taken over here.

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, Enum, ID, InputObject, Object, SimpleObject};
use chrono::{DateTime, TimeDelta, Utc};
use nameplate_entities::kinds::PriceListState as State;
use nameplate_entities::{price_list, price_list_fault, price_list_row};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use crate::base::{Error, Result};
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;
use crate::payload;

use super::super::price_lists::{self, store};
use super::{Part, Supplier};

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

    /// What is wrong in a price list, the last found first; at most 10,000 are kept.
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
    ) -> async_graphql::Result<Connection<RowCursor, PriceListFault>> {
        let list = Kind::PriceList.row("priceListId", &price_list_id);
        let list = list.map_err(edge)?;
        let page = Page {
            first,
            after,
            last,
            before,
        };
        connection::newest_first(
            reader(ctx)?,
            price_list_fault::Entity::find().filter(price_list_fault::Column::PriceListId.eq(list)),
            price_list_fault::Column::Id,
            page,
            (|row| row.id, PriceListFault::from),
        )
        .await
    }
}

/// Which column of the list holds what, by the names in its first line, whatever their case.
#[derive(InputObject)]
pub struct PriceListColumnsInput {
    /// Number of the part.
    number: String,
    /// What it is.
    description: String,
    /// What it costs the shop, such as 1234.50; a comma in it is refused.
    cost: String,
    /// The price it never sells above; left out when the list has none.
    list_price: Option<String>,
}

/// A price list that is about to be sent.
#[derive(InputObject)]
pub struct BeginPriceListInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// Who sent it.
    supplier_id: ID,
    /// Name, such as the period it is for.
    name: String,
    /// Which column holds what.
    columns: PriceListColumnsInput,
}

impl BeginPriceListInput {
    fn command(self) -> Result<price_lists::BeginPriceList> {
        Ok(price_lists::BeginPriceList {
            idempotency_key: self.idempotency_key,
            supplier_id: Kind::Supplier.row("supplierId", &self.supplier_id)?,
            name: self.name,
            columns: price_lists::Columns {
                number: self.columns.number,
                description: self.columns.description,
                cost: self.columns.cost,
                list_price: self.columns.list_price,
            },
        })
    }
}

payload! {
    /// What beginning a price list gave.
    BeginPriceListPayload {
        /// The list; send its rows to its upload path.
        price_list: PriceList
    }
}

/// What to do about bad rows of a price list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "crate::pricing::price_lists::Take")]
pub enum PriceListTake {
    /// Take nothing over as long as there is one.
    AllOrNothing,
    /// Leave them out.
    KeepGood,
}

/// A staged price list to take over.
#[derive(InputObject)]
pub struct TakeOverPriceListInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// The list.
    price_list_id: ID,
    /// What to do about bad rows.
    take: PriceListTake,
}

impl TakeOverPriceListInput {
    fn command(self) -> Result<price_lists::TakeOverPriceList> {
        Ok(price_lists::TakeOverPriceList {
            idempotency_key: self.idempotency_key,
            price_list_id: Kind::PriceList.row("priceListId", &self.price_list_id)?,
            take: self.take.into(),
        })
    }
}

payload! {
    /// What taking a price list over gave.
    TakeOverPriceListPayload {
        /// The list; its counts say what was done.
        price_list: PriceList
    }
}

/// A price list to give up.
#[derive(InputObject)]
pub struct DiscardPriceListInput {
    /// The list.
    price_list_id: ID,
}

payload! {
    /// What giving a price list up gave.
    DiscardPriceListPayload {
        /// The list as it is now.
        price_list: PriceList
    }
}

/// Taking suppliers' price lists over.
#[derive(Default)]
pub struct PriceListsMutation;

#[Object]
impl PriceListsMutation {
    /// Names supplier and columns of a price list; its rows are sent to its upload path afterwards.
    async fn begin_price_list(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The list.")] input: BeginPriceListInput,
    ) -> async_graphql::Result<BeginPriceListPayload> {
        let act = act(ctx)?;
        let outcome = async { price_lists::begin_price_list(act, input.command()?).await }.await;
        BeginPriceListPayload::of(outcome.map(PriceList::from))
    }

    /// Makes parts and costs of a staged list, all at once; estimates keep what they were priced with.
    async fn take_over_price_list(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which list, and how.")] input: TakeOverPriceListInput,
    ) -> async_graphql::Result<TakeOverPriceListPayload> {
        let act = act(ctx)?.clone();
        // On its own: a request that is stopped for its length leaves the taking over to its end, and the same key
        // gives the answer afterwards.
        let taking =
            tokio::spawn(
                async move { price_lists::take_over_price_list(&act, input.command()?).await },
            );
        let outcome = taking
            .await
            .unwrap_or_else(|error| Err(Error::caused("taking a price list over", error)));
        TakeOverPriceListPayload::of(outcome.map(PriceList::from))
    }

    /// Gives up a price list that was not taken over.
    async fn discard_price_list(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which list.")] input: DiscardPriceListInput,
    ) -> async_graphql::Result<DiscardPriceListPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let list = Kind::PriceList.row("priceListId", &input.price_list_id)?;
            price_lists::discard_price_list(act, list).await
        }
        .await;
        DiscardPriceListPayload::of(outcome.map(PriceList::from))
    }
}
