//! Price books as the desk reads them.

use async_graphql::{ComplexObject, Context, Enum, ID, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{labour_rate, markup_bracket, price_book, trip_zone};
use nameplate_rules::pricing::{margin, markup};
use rust_decimal::Decimal;

use crate::base::Error;
use crate::graphql::context::act;
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};

use super::super::book;
use super::{DistanceUnit, LabourRate, TripZone, two_decimals};

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
    /// How long that first hour is.
    minimum_minutes: i32,
    /// Time is rounded up to a multiple of this.
    increment_minutes: i32,
    /// Factor for work after hours.
    after_hours_multiplier: ExactDecimal,
    /// What a second technician adds, as a share of the first one's price.
    second_technician_share: ExactDecimal,
    /// Charge for one trip to an address in none of the zones.
    trip: Money,
    /// Unit of the zones' distances.
    distance_unit: Option<DistanceUnit>,
    /// Charge for finding what is wrong.
    diagnostic: Money,
    /// Whether that charge is credited when the repair is accepted.
    diagnostic_credited: bool,
    /// Whole or graduated.
    markup_kind: MarkupKind,
    /// Least a part earns over its cost.
    minimum_markup: Money,
    /// Most a part earns over its cost; null for no cap.
    maximum_markup: Option<Money>,
    /// The cents a part price is lifted to.
    price_ending: PriceEnding,
    /// When it was adopted; null for a draft.
    adopted_at: Option<DateTime<Utc>>,
    /// Send it back when changing the draft.
    version: i32,
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
            minimum_minutes: row.minimum_minutes,
            increment_minutes: row.increment_minutes,
            after_hours_multiplier: row.after_hours_multiplier.into(),
            second_technician_share: row.second_technician_share.into(),
            distance_unit: row.distance_unit.map(Into::into),
            trip: Money::cents(row.trip_cents),
            diagnostic: Money::cents(row.diagnostic_cents),
            diagnostic_credited: row.diagnostic_credited,
            markup_kind: row.markup_kind.into(),
            minimum_markup: Money::cents(row.minimum_markup_cents),
            maximum_markup: row.maximum_markup_cents.map(Money::cents),
            price_ending: row.price_ending.into(),
            adopted_at: row.adopted_at,
            version: row.version,
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

    /// Prices of an hour by the technician's grade.
    async fn rates(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<LabourRate>> {
        let column = labour_rate::Column::PriceBookId;
        let rows = loaders::children::<labour_rate::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(LabourRate::from).collect())
    }

    /// Zones of the shop's area, each with its charge for a trip.
    #[graphql(complexity = "20 * child_complexity")]
    async fn zones(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<TripZone>> {
        let column = trip_zone::Column::PriceBookId;
        let rows = loaders::children::<trip_zone::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(TripZone::from).collect())
    }

    /// Every bracket edge at which a dearer part would sell for less; graduated schedules have none.
    async fn inversions(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<MarkupInversion>> {
        let brackets = self.brackets(ctx).await?;
        let found = book::schedule(&self.row, &brackets)
            .map_err(|refusal| edge(Error::caused("schedule of a price book", refusal)))?
            .inversions()
            .map_err(|refusal| edge(Error::caused("inversions of a price book", refusal)))?;
        Ok(found.into_iter().map(MarkupInversion::from).collect())
    }
}
