//! Price books and parts in the graph; tax rules are in `taxes`.

pub mod mutations;
mod taxes;

use std::sync::Arc;

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, Enum, ID, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{markup_bracket, part, part_cost, price_book, tax_jurisdiction};
use nameplate_rules::money::Cents;
use nameplate_rules::pricing::{margin, markup};
use rust_decimal::{Decimal, RoundingStrategy};
use sea_orm::EntityTrait;

use crate::base::Error;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::shop;

use super::{Book, book_on, price_part, store};

pub use mutations::PricingMutation;
pub use taxes::{ChargeKind, LevelKind, TaxBasis, TaxExemption, TaxJurisdiction};

/// Whether a price book may be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::BookState")]
pub enum BookState {
    /// Begun, not in use.
    Draft,
    /// In use from its day on, and never edited again.
    Adopted,
}

/// How the brackets of a markup schedule apply.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::MarkupKind")]
pub enum MarkupKind {
    /// The multiplier of the cost's bracket applies to the whole cost.
    Whole,
    /// Each slice of the cost has the multiplier of its own bracket.
    Graduated,
}

/// The cents a part price is lifted to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::PriceEnding")]
pub enum PriceEnding {
    /// As computed.
    AsComputed,
    /// Up to the next price that ends in .95.
    Up95,
    /// Up to the next price that ends in .99.
    Up99,
}

/// One step of a markup schedule.
#[derive(SimpleObject)]
pub struct MarkupBracket {
    /// Highest cost of this bracket, itself inside; null for the last, open bracket.
    up_to: Option<Money>,
    /// Price per unit of cost.
    multiplier: ExactDecimal,
    /// The same as markup on cost, per hundred.
    markup_percent: ExactDecimal,
    /// The same as margin on price, per hundred.
    margin_percent: Option<ExactDecimal>,
}

impl From<markup_bracket::Model> for MarkupBracket {
    fn from(row: markup_bracket::Model) -> Self {
        let markup_percent = (row.multiplier.0 - Decimal::ONE) * Decimal::ONE_HUNDRED;
        Self {
            up_to: row.up_to_cents.map(Money::cents),
            multiplier: row.multiplier.into(),
            markup_percent: ExactDecimal(markup_percent.normalize()),
            margin_percent: margin::margin_from_markup(markup_percent)
                .ok()
                .map(two_decimals),
        }
    }
}

/// A figure per hundred as shown beside prices.
fn two_decimals(percent: Decimal) -> ExactDecimal {
    ExactDecimal(percent.round_dp_with_strategy(2, RoundingStrategy::MidpointAwayFromZero))
}

/// Margin on a price, per hundred with two decimals; null for something given away.
pub fn margin_percent(cost: Cents, price: Cents) -> Option<ExactDecimal> {
    margin::margin_between(cost, price).ok().map(two_decimals)
}

/// A bracket edge at which a part one cent dearer would sell for less; prices are floored there.
#[derive(SimpleObject)]
pub struct MarkupInversion {
    /// Highest cost below the edge.
    edge_cost: Money,
    /// Highest price reached up to the edge.
    price_at_edge: Money,
    /// Price one cent of cost later, if it were not floored.
    price_above_edge: Money,
}

impl From<markup::Inversion> for MarkupInversion {
    fn from(found: markup::Inversion) -> Self {
        Self {
            edge_cost: found.edge_cost.into(),
            price_at_edge: found.price_at_edge.into(),
            price_above_edge: found.price_above_edge.into(),
        }
    }
}

/// Rates, charges and markup of one period.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct PriceBook {
    /// Name, such as the period it is for.
    name: String,
    /// First day it is used.
    effective_from: NaiveDate,
    /// Draft or adopted.
    state: BookState,
    /// Price of an hour of one technician.
    hourly_rate: Money,
    /// Whether the first hour is billed whole.
    first_hour_minimum: bool,
    /// Time is rounded up to a multiple of this.
    increment_minutes: i32,
    /// Factor for work after hours.
    after_hours_multiplier: ExactDecimal,
    /// Charge for one trip.
    trip: Money,
    /// Charge for finding what is wrong.
    diagnostic: Money,
    /// Whether that charge is credited when the repair is accepted.
    diagnostic_credited: bool,
    /// Whole or graduated.
    markup_kind: MarkupKind,
    /// Least a part earns over its cost.
    minimum_markup: Money,
    /// The cents a part price is lifted to.
    price_ending: PriceEnding,
    /// When it was adopted; null for a draft.
    adopted_at: Option<DateTime<Utc>>,
    #[graphql(skip)]
    row: price_book::Model,
}

impl From<price_book::Model> for PriceBook {
    fn from(row: price_book::Model) -> Self {
        Self {
            name: row.name.clone(),
            effective_from: row.effective_from,
            state: row.state.into(),
            hourly_rate: Money::cents(row.hourly_rate_cents),
            first_hour_minimum: row.first_hour_minimum,
            increment_minutes: row.increment_minutes,
            after_hours_multiplier: row.after_hours_multiplier.into(),
            trip: Money::cents(row.trip_cents),
            diagnostic: Money::cents(row.diagnostic_cents),
            diagnostic_credited: row.diagnostic_credited,
            markup_kind: row.markup_kind.into(),
            minimum_markup: Money::cents(row.minimum_markup_cents),
            price_ending: row.price_ending.into(),
            adopted_at: row.adopted_at,
            row,
        }
    }
}

impl PriceBook {
    /// The book behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<price_book::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The book with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        Self::of(ctx, id).await
    }

    async fn brackets(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Vec<markup_bracket::Model>> {
        let column = markup_bracket::Column::PriceBookId;
        let mut rows =
            loaders::children::<markup_bracket::Entity>(ctx, column, self.row.id).await?;
        rows.sort_by_key(|row| row.position);
        Ok(rows)
    }
}

#[ComplexObject]
impl PriceBook {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::PriceBook.id(self.row.id)
    }

    /// Steps of the markup schedule, from the cheapest cost up.
    #[graphql(name = "brackets")]
    async fn shown_brackets(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<MarkupBracket>> {
        let rows = self.brackets(ctx).await?;
        Ok(rows.into_iter().map(MarkupBracket::from).collect())
    }

    /// Every bracket edge at which a dearer part would sell for less; graduated schedules have none.
    async fn inversions(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<MarkupInversion>> {
        let brackets = self.brackets(ctx).await?;
        let book = Book::of_rows(self.row.clone(), &brackets).map_err(edge)?;
        let found = book
            .schedule
            .inversions()
            .map_err(|refusal| edge(Error::caused("inversions of a price book", refusal)))?;
        Ok(found.into_iter().map(MarkupInversion::from).collect())
    }
}

/// What a part cost, from when.
#[derive(SimpleObject)]
pub struct PartCost {
    /// The cost.
    cost: Money,
    /// From when on.
    from_at: DateTime<Utc>,
}

/// A part the shop sells.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Part {
    /// Number as its supplier prints it.
    number: String,
    /// What it is.
    description: String,
    /// Who supplies it.
    supplier: Option<String>,
    /// What it costs now.
    cost: Money,
    /// Sells at this price whatever it costs; null to price it by the book.
    fixed_price: Option<Money>,
    /// Never sells above this price; null for no cap.
    list_price: Option<Money>,
    /// How long its maker stands behind it.
    maker_warranty_months: Option<i32>,
    /// Send it back when changing the record.
    version: i32,
    #[graphql(skip)]
    row: part::Model,
}

impl From<part::Model> for Part {
    fn from(row: part::Model) -> Self {
        Self {
            number: row.number.clone(),
            description: row.description.clone(),
            supplier: row.supplier.clone(),
            cost: Money::cents(row.cost_cents),
            fixed_price: row.fixed_price_cents.map(Money::cents),
            list_price: row.list_price_cents.map(Money::cents),
            maker_warranty_months: row.maker_warranty_months,
            version: row.version,
            row,
        }
    }
}

impl Part {
    /// The part behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<part::Entity>(ctx, id).await?.map(Self::from))
    }

    /// The part with this id; all staff may see it, without what it costs.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if act(ctx)?.staff().is_err() {
            return Ok(None);
        }
        Self::of(ctx, id).await
    }
}

#[ComplexObject]
impl Part {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Part.id(self.row.id)
    }

    /// What it cost, the first cost first.
    async fn cost_history(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<PartCost>> {
        let rows =
            loaders::children::<part_cost::Entity>(ctx, part_cost::Column::PartId, self.row.id)
                .await?;
        let shown = |row: part_cost::Model| PartCost {
            cost: Money::cents(row.cost_cents),
            from_at: row.from_at,
        };
        Ok(rows.into_iter().map(shown).collect())
    }
}

/// What set a part's price.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::pricing::markup::PriceBasis")]
pub enum PriceBasis {
    /// The book's markup schedule.
    Schedule,
    /// The part's own fixed price.
    Fixed,
    /// The list price, which the schedule would have passed.
    ListPriceCap,
}

/// What a part sells for on a day, before tax, and how that came about.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct PartPrice {
    /// The price.
    price: Money,
    /// What the part costs.
    cost: Money,
    /// What set the price.
    basis: PriceBasis,
    /// What the floor added so that no cheaper part sells dearer.
    raised_by_floor: Money,
    /// Markup on cost, per hundred; null for a part that costs nothing.
    markup_percent: Option<ExactDecimal>,
    /// Margin on price, per hundred; null for a part that sells for nothing.
    margin_percent: Option<ExactDecimal>,
    #[graphql(skip)]
    book: Arc<Book>,
}

#[ComplexObject]
impl PartPrice {
    /// The price book used.
    async fn price_book(&self) -> PriceBook {
        self.book.row.clone().into()
    }
}

/// Price books, parts and tax rules.
#[derive(Default)]
pub struct PricingQuery;

#[Object]
impl PricingQuery {
    /// Price books, the newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn price_books(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, PriceBook>> {
        connection::newest_first(
            reader(ctx)?,
            price_book::Entity::find(),
            price_book::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, PriceBook::from),
        )
        .await
    }

    /// One price book; null if there is none with this id.
    async fn price_book(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Its id.")] id: ID,
    ) -> async_graphql::Result<Option<PriceBook>> {
        match Kind::PriceBook.row("id", &id) {
            Ok(row) => PriceBook::find(ctx, row).await,
            Err(_) => Ok(None),
        }
    }

    /// Parts, the newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn parts(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Part>> {
        connection::newest_first(
            reader(ctx)?,
            part::Entity::find(),
            part::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, Part::from),
        )
        .await
    }

    /// The part with this number; null if there is none.
    async fn part(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Number as its supplier prints it.")] number: String,
    ) -> async_graphql::Result<Option<Part>> {
        let row = store::part_by_number(reader(ctx)?, number.trim())
            .await
            .map_err(edge)?;
        Ok(row.map(Part::from))
    }

    /// What a part sells for by the price book in force on a day.
    #[graphql(complexity = "10 + child_complexity")]
    async fn part_price(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The part.")] part_id: ID,
        #[graphql(desc = "The day; today when left out.")] on: Option<NaiveDate>,
    ) -> async_graphql::Result<PartPrice> {
        let db = reader(ctx)?;
        let row = Kind::Part.row("partId", &part_id).map_err(edge)?;
        let part = store::get_part(db, "partId", row).await.map_err(edge)?;
        let day = match on {
            Some(day) => day,
            None => shop::settings(db).await.map_err(edge)?.day_of(act(ctx)?.at),
        };
        let book = book_on(db, day).await.map_err(edge)?;
        let found = price_part(&book, &part, "partId").map_err(edge)?;
        let cost = Cents(part.cost_cents);
        Ok(PartPrice {
            price: found.price.into(),
            cost: cost.into(),
            basis: found.basis.into(),
            raised_by_floor: found.raised_by_floor_cents.into(),
            markup_percent: margin::markup_between(cost, found.price)
                .ok()
                .map(two_decimals),
            margin_percent: margin_percent(cost, found.price),
            book: Arc::new(book),
        })
    }

    /// Where and how sales are taxed, the newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn tax_jurisdictions(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, TaxJurisdiction>> {
        connection::newest_first(
            reader(ctx)?,
            tax_jurisdiction::Entity::find(),
            tax_jurisdiction::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, TaxJurisdiction::from),
        )
        .await
    }
}
