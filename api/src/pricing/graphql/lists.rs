//! The lists of a price book: rates by grade, trip zones, flat-rate tasks.

use async_graphql::{ComplexObject, Context, Enum, ID, SimpleObject};
use nameplate_entities::{flat_rate_task, labour_rate, trip_zone};

use crate::appliances::graphql::{ApplianceType, Component};
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};

use super::super::book;
use super::PriceBook;

/// Unit of the distances of a price book.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::DistanceUnit")]
pub enum DistanceUnit {
    /// Kilometres.
    Kilometre,
    /// Miles.
    Mile,
}

/// Price of an hour of a technician of one grade.
#[derive(SimpleObject)]
pub struct LabourRate {
    /// The grade.
    name: String,
    /// Price of an hour.
    hourly_rate: Money,
}

impl From<labour_rate::Model> for LabourRate {
    fn from(row: labour_rate::Model) -> Self {
        Self {
            name: row.name,
            hourly_rate: Money::cents(row.hourly_rate_cents),
        }
    }
}

/// A zone of the shop's area. With neither codes nor a distance, addresses are put into it by its name.
#[derive(SimpleObject)]
pub struct TripZone {
    /// Name.
    name: String,
    /// Charge for one trip into it.
    charge: Money,
    /// Postal codes in it; one that ends in `*` stands for all that begin so.
    postal_codes: Vec<String>,
    /// Farthest distance from the shop, itself inside, in the book's unit.
    up_to_distance: Option<ExactDecimal>,
}

impl From<trip_zone::Model> for TripZone {
    fn from(row: trip_zone::Model) -> Self {
        Self {
            postal_codes: book::codes(&row),
            name: row.name,
            charge: Money::cents(row.charge_cents),
            up_to_distance: row.up_to_distance.map(Into::into),
        }
    }
}

/// Work with the hours it is listed with: it costs those hours, whatever the clock says.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct FlatRateTask {
    /// Short key; the same in every book.
    key: String,
    /// Name for the desk.
    name: String,
    /// What the customer reads; the name when there is none.
    description: Option<String>,
    /// Hours it is listed with.
    hours: ExactDecimal,
    #[graphql(skip)]
    row: flat_rate_task::Model,
}

impl From<flat_rate_task::Model> for FlatRateTask {
    fn from(row: flat_rate_task::Model) -> Self {
        Self {
            key: row.task_key.clone(),
            name: row.name.clone(),
            description: row.description.clone(),
            hours: row.hours.into(),
            row,
        }
    }
}

impl FlatRateTask {
    /// The task behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<flat_rate_task::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The task with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        Self::of(ctx, id).await
    }
}

#[ComplexObject]
impl FlatRateTask {
    /// Opaque id; a line of an estimate names it.
    pub async fn id(&self) -> ID {
        Kind::FlatRateTask.id(self.row.id)
    }

    /// The book it is listed in.
    async fn price_book(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<PriceBook>> {
        PriceBook::of(ctx, self.row.price_book_id).await
    }

    /// Type of machine it is for; null for any.
    async fn appliance_type(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<ApplianceType>> {
        match self.row.appliance_type_id {
            Some(id) => ApplianceType::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Component it is about.
    async fn component(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Component>> {
        match self.row.component_id {
            Some(id) => Component::of(ctx, id).await,
            None => Ok(None),
        }
    }
}
