//! Findings, remedies and parts used in the graph.

use async_graphql::{Context, Enum, ID, Object};
use chrono::{DateTime, Utc};
use nameplate_entities::{finding, part, part_lot, part_used, remedy};
use sea_orm::{ColumnTrait, QueryFilter};

use crate::appliances::graphql::{Component, FailureMode};
use crate::attachments::On;
use crate::attachments::graphql::Attachment;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::shop::graphql::Staff;
use crate::stock::graphql::StockPlace;

use super::super::store;

/// What is wrong: component, failure mode, position and cause.
pub struct Finding {
    pub row: finding::Model,
}

impl From<finding::Model> for Finding {
    fn from(row: finding::Model) -> Self {
        Self { row }
    }
}

impl Finding {
    /// The finding behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<finding::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The finding with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = store::findings_visible_to(act(ctx)?)
            .filter(finding::Column::Id.eq(id))
            .one(reader(ctx)?)
            .await
            .map_err(|error| edge(error.into()))?;
        Ok(row.map(Self::from))
    }
}

/// What is wrong: component, failure mode, position and cause.
#[Object]
impl Finding {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Finding.id(self.row.id)
    }

    /// The part that failed.
    async fn component(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Component>> {
        Component::of(ctx, self.row.component_id).await
    }

    /// How it failed.
    async fn failure_mode(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<FailureMode>> {
        FailureMode::of(ctx, self.row.failure_mode_id).await
    }

    /// Which one of several, such as "left front".
    async fn position(&self) -> Option<&str> {
        self.row.position.as_deref()
    }

    /// Why it failed, as far as known.
    async fn cause(&self) -> Option<&str> {
        self.row.cause.as_deref()
    }

    /// When it was found.
    async fn found_at(&self) -> DateTime<Utc> {
        self.row.found_at
    }

    /// Who found it.
    async fn found_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.found_by).await
    }

    /// What the technician adds.
    async fn note(&self) -> Option<&str> {
        self.row.note.as_deref()
    }

    /// Pictures and papers of it, oldest first.
    async fn attachments(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Attachment>> {
        Attachment::on(ctx, On::Finding(self.row.id)).await
    }

    /// What was done about it, oldest first.
    async fn remedies(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Remedy>> {
        remedies_of(ctx, self.row.id).await
    }
}

/// What was done about a finding, oldest first.
pub(super) async fn remedies_of(
    ctx: &Context<'_>,
    finding_id: i64,
) -> async_graphql::Result<Vec<Remedy>> {
    let rows =
        loaders::children::<remedy::Entity>(ctx, remedy::Column::FindingId, finding_id).await?;
    Ok(rows.into_iter().map(Remedy::from).collect())
}

/// How a finding was mended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::Method")]
pub enum Method {
    /// A part was replaced.
    Replaced,
    /// A wire was cut back and given a new terminal.
    ReTerminated,
    /// Wires were joined.
    Spliced,
    /// It was cleaned.
    Cleaned,
    /// It was adjusted.
    Adjusted,
    /// It was tightened.
    Tightened,
    /// A blockage was removed.
    Unblocked,
    /// Something else; the note says what.
    Other,
    /// Nothing was done.
    None,
}

/// What was done about a finding: method, labour and parts.
pub struct Remedy {
    row: remedy::Model,
}

impl From<remedy::Model> for Remedy {
    fn from(row: remedy::Model) -> Self {
        Self { row }
    }
}

impl Remedy {
    /// The remedy with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = store::remedies_visible_to(act(ctx)?)
            .filter(remedy::Column::Id.eq(id))
            .one(reader(ctx)?)
            .await
            .map_err(|error| edge(error.into()))?;
        Ok(row.map(Self::from))
    }
}

/// What was done about a finding: method, labour and parts.
#[Object]
impl Remedy {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Remedy.id(self.row.id)
    }

    /// How it was mended.
    async fn method(&self) -> Method {
        self.row.method.into()
    }

    /// Minutes of labour.
    async fn labour_minutes(&self) -> i32 {
        self.row.labour_minutes
    }

    /// When it was done.
    async fn done_at(&self) -> DateTime<Utc> {
        self.row.done_at
    }

    /// Who did it.
    async fn done_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.done_by).await
    }

    /// What the technician adds.
    async fn note(&self) -> Option<&str> {
        self.row.note.as_deref()
    }

    /// What was fitted.
    async fn parts(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<PartUsed>> {
        let rows =
            loaders::children::<part_used::Entity>(ctx, part_used::Column::RemedyId, self.row.id)
                .await?;
        Ok(rows.into_iter().map(PartUsed::from).collect())
    }
}

/// A part fitted in a remedy, and what it cost.
pub struct PartUsed {
    row: part_used::Model,
}

impl From<part_used::Model> for PartUsed {
    fn from(row: part_used::Model) -> Self {
        Self { row }
    }
}

impl PartUsed {
    async fn part_row(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<part::Model>> {
        loaders::row::<part::Entity>(ctx, self.row.part_id).await
    }
}

/// A part fitted in a remedy, and what it cost.
#[Object]
impl PartUsed {
    /// Id of the part in the shop's list.
    async fn part_id(&self) -> ID {
        Kind::Part.id(self.row.part_id)
    }

    /// Part number.
    async fn number(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<String>> {
        Ok(self.part_row(ctx).await?.map(|part| part.number))
    }

    /// What the part is.
    async fn description(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<String>> {
        Ok(self.part_row(ctx).await?.map(|part| part.description))
    }

    /// The batch printed on it, where it was read.
    async fn lot(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<String>> {
        let Some(id) = self.row.lot_id else {
            return Ok(None);
        };
        let row = loaders::row::<part_lot::Entity>(ctx, id).await?;
        Ok(row.map(|row| row.lot))
    }

    /// How many.
    async fn quantity(&self) -> ExactDecimal {
        self.row.quantity.into()
    }

    /// Where it comes from, where somebody said.
    async fn place(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<StockPlace>> {
        match self.row.place_id {
            Some(id) => StockPlace::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// What one cost in the catalogue on that day.
    async fn unit_cost(&self) -> Money {
        Money::cents(self.row.unit_cost_cents)
    }

    /// What all of them cost: by the catalogue until the call is completed, then what they cost in stock.
    async fn cost(&self) -> Money {
        Money::cents(self.row.cost_cents)
    }
}
