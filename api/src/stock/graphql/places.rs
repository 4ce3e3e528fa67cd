//! Places and terms in the graph, and keeping them.

use async_graphql::{Context, Enum, ID, InputObject, MaybeUndefined, Object, SimpleObject};
use chrono::{DateTime, Utc};
use nameplate_entities::{stock_place, stock_terms};

use crate::base::{Change, Result};
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::ExactDecimal;
use crate::payload;
use crate::shop::graphql::Staff;

use super::super::operations;
use super::StockLevel;

/// What kind of place parts lie at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::StockPlaceKind")]
pub enum StockPlaceKind {
    /// At the shop.
    Shelf,
    /// On the road; it may be one technician's.
    Van,
}

/// How the cost of parts that leave is found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::StockMethod")]
pub enum StockMethod {
    /// All pieces on hand cost alike: value over quantity, anew after each receipt.
    MovingAverage,
    /// The oldest pieces leave first, at what they cost.
    FirstInFirstOut,
}

/// How stock is valued.
#[derive(SimpleObject)]
pub struct StockTerms {
    /// How the cost of parts that leave is found.
    method: StockMethod,
    /// Send it back when changing the terms.
    version: i32,
}

impl From<stock_terms::Model> for StockTerms {
    fn from(row: stock_terms::Model) -> Self {
        Self {
            method: row.method.into(),
            version: row.version,
        }
    }
}

/// Where parts lie: a shelf, or a van.
pub struct StockPlace {
    row: stock_place::Model,
}

impl From<stock_place::Model> for StockPlace {
    fn from(row: stock_place::Model) -> Self {
        Self { row }
    }
}

impl StockPlace {
    /// The place with this id.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<stock_place::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }
}

/// Where parts lie: a shelf, or a van.
#[Object]
impl StockPlace {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::StockPlace.id(self.row.id)
    }

    /// What it is called.
    async fn name(&self) -> &str {
        &self.row.name
    }

    /// What kind of place it is.
    async fn kind(&self) -> StockPlaceKind {
        self.row.kind.into()
    }

    /// Whose van it is; null for a shelf, and for a van that nobody has alone.
    async fn technician(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.row.technician_id {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Whether parts come from here when nobody says.
    async fn is_main(&self) -> bool {
        self.row.is_main
    }

    /// Since when it is out of use; null while it is used.
    async fn retired_at(&self) -> Option<DateTime<Utc>> {
        self.row.retired_at
    }

    /// Send it back when changing the record.
    async fn version(&self) -> i32 {
        self.row.version
    }
}

/// A shelf or a van to record.
#[derive(InputObject)]
pub struct AddStockPlaceInput {
    /// What it is called; one name is one place.
    name: String,
    /// What kind of place it is.
    kind: StockPlaceKind,
    /// Whose van it is; a technician has one.
    technician_id: Option<ID>,
}

impl AddStockPlaceInput {
    fn command(self) -> Result<operations::AddStockPlace> {
        Ok(operations::AddStockPlace {
            technician_id: Kind::Staff.row_if_any("technicianId", self.technician_id.as_ref())?,
            name: self.name,
            kind: self.kind.into(),
        })
    }
}

payload! {
    /// What recording a place gave.
    AddStockPlacePayload {
        /// The place as recorded.
        place: StockPlace
    }
}

/// A correction of a place; what is left out stays.
#[derive(InputObject)]
pub struct ChangeStockPlaceInput {
    /// The place.
    place_id: ID,
    /// The version that was read.
    version: i32,
    /// What it is called.
    name: Option<String>,
    /// Whose van it is; null makes it everybody's.
    technician_id: MaybeUndefined<ID>,
    /// True makes this the place that parts come from when nobody says.
    is_main: Option<bool>,
    /// True takes it out of use, once it is empty; false takes it into use again.
    is_retired: Option<bool>,
}

impl ChangeStockPlaceInput {
    fn command(self) -> Result<operations::ChangeStockPlace> {
        Ok(operations::ChangeStockPlace {
            place_id: Kind::StockPlace.row("placeId", &self.place_id)?,
            version: self.version,
            name: self.name,
            technician_id: match self.technician_id {
                MaybeUndefined::Undefined => Change::Keep,
                MaybeUndefined::Null => Change::Clear,
                MaybeUndefined::Value(id) => Change::To(Kind::Staff.row("technicianId", &id)?),
            },
            is_main: self.is_main,
            is_retired: self.is_retired,
        })
    }
}

payload! {
    /// What correcting a place gave.
    ChangeStockPlacePayload {
        /// The place as it is now.
        place: StockPlace
    }
}

/// How few of a part at a place are too few.
#[derive(InputObject)]
pub struct SetReorderPointInput {
    /// The part.
    part_id: ID,
    /// The place.
    place_id: ID,
    /// Fewer than these are too few; left out or null for no such point.
    reorder_point: Option<ExactDecimal>,
}

impl SetReorderPointInput {
    fn command(self) -> Result<operations::SetReorderPoint> {
        Ok(operations::SetReorderPoint {
            part_id: Kind::Part.row("partId", &self.part_id)?,
            place_id: Kind::StockPlace.row("placeId", &self.place_id)?,
            reorder_point: self.reorder_point.map(|point| point.0),
        })
    }
}

payload! {
    /// What setting a reorder point gave.
    SetReorderPointPayload {
        /// The level as it is now.
        level: StockLevel
    }
}

/// How stock is to be valued.
#[derive(InputObject)]
pub struct ChangeStockTermsInput {
    /// How the cost of parts that leave is found.
    method: StockMethod,
    /// The version that was read.
    version: i32,
}

payload! {
    /// What changing the terms gave.
    ChangeStockTermsPayload {
        /// The terms as they are now.
        terms: StockTerms
    }
}

/// Keeping places and terms.
#[derive(Default)]
pub struct StockPlacesMutation;

#[Object]
impl StockPlacesMutation {
    /// Records a shelf or van where parts lie.
    async fn add_stock_place(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The place.")] input: AddStockPlaceInput,
    ) -> async_graphql::Result<AddStockPlacePayload> {
        let act = act(ctx)?;
        let outcome = async { operations::add_stock_place(act, input.command()?).await }.await;
        AddStockPlacePayload::of(outcome.map(StockPlace::from))
    }

    /// Corrects a place, makes it the main one, or takes it out of use.
    async fn change_stock_place(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What to change.")] input: ChangeStockPlaceInput,
    ) -> async_graphql::Result<ChangeStockPlacePayload> {
        let act = act(ctx)?;
        let outcome = async { operations::change_stock_place(act, input.command()?).await }.await;
        ChangeStockPlacePayload::of(outcome.map(StockPlace::from))
    }

    /// Says how few of a part at a place are too few.
    async fn set_reorder_point(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Part, place and point.")] input: SetReorderPointInput,
    ) -> async_graphql::Result<SetReorderPointPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::set_reorder_point(act, input.command()?).await }.await;
        SetReorderPointPayload::of(outcome.map(StockLevel::from))
    }

    /// Changes how stock is valued; only while nothing is on hand or short.
    async fn change_stock_terms(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The terms.")] input: ChangeStockTermsInput,
    ) -> async_graphql::Result<ChangeStockTermsPayload> {
        let change = (input.method.into(), input.version);
        let outcome = operations::change_stock_terms(act(ctx)?, change).await;
        ChangeStockTermsPayload::of(outcome.map(StockTerms::from))
    }
}
