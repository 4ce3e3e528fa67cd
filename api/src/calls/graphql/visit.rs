//! Trips in the graph.

use async_graphql::{Context, Enum, ID, Object};
use chrono::{DateTime, NaiveDate, Utc};
use futures_util::future::try_join_all;
use nameplate_entities::{visit, visit_call};
use sea_orm::{ColumnTrait, QueryFilter};

use crate::customers::graphql::ServiceAddress;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::shop::graphql::Staff;

use super::super::store;
use super::ServiceCall;

/// Whether a trip was made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::VisitState")]
pub enum VisitState {
    /// Still to be made.
    Planned,
    /// It was made.
    Done,
    /// It was not made.
    Missed,
}

/// Why a call needed another visit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::VisitReason")]
pub enum VisitReason {
    /// A part had to be ordered.
    PartOrdered,
    /// The part that was brought or came was not the right one.
    WrongPart,
    /// The work takes longer than there was time.
    MoreTime,
    /// Nobody was at home.
    NotHome,
    /// The customer was still deciding.
    CustomerDecides,
    /// There was no way to the machine.
    NoAccess,
    /// The work takes two.
    SecondPerson,
    /// Something else; the note says what.
    Other,
}

/// One trip to one address. It may serve several calls there; its trip charge is charged once.
pub struct Visit {
    row: visit::Model,
}

impl From<visit::Model> for Visit {
    fn from(row: visit::Model) -> Self {
        Self { row }
    }
}

impl Visit {
    /// The visit behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<visit::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The visit with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = store::visits_visible_to(act(ctx)?)
            .filter(visit::Column::Id.eq(id))
            .one(reader(ctx)?)
            .await
            .map_err(|error| edge(error.into()))?;
        Ok(row.map(Self::from))
    }
}

/// One trip to one address. It may serve several calls there; its trip charge is charged once.
#[Object]
impl Visit {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Visit.id(self.row.id)
    }

    /// Who makes it.
    async fn technician(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.technician_id).await
    }

    /// Where it goes.
    async fn service_address(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<ServiceAddress>> {
        ServiceAddress::of(ctx, self.row.service_address_id).await
    }

    /// The day it is planned for.
    async fn planned_on(&self) -> NaiveDate {
        self.row.planned_on
    }

    /// Arrival window as told to the customer.
    async fn window(&self) -> Option<&str> {
        self.row.window.as_deref()
    }

    /// Why a call needed another visit; null for a first one, and where nobody said.
    async fn reason(&self) -> Option<VisitReason> {
        self.row.reason.map(Into::into)
    }

    /// What was said about the reason.
    async fn reason_note(&self) -> Option<&str> {
        self.row.reason_note.as_deref()
    }

    /// Whether it was made.
    async fn state(&self) -> VisitState {
        self.row.state.into()
    }

    /// When it was said to be made.
    async fn done_at(&self) -> Option<DateTime<Utc>> {
        self.row.done_at
    }

    /// Goes up with every change.
    async fn version(&self) -> i32 {
        self.row.version
    }

    /// The calls it serves; for a technician own ones.
    async fn calls(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ServiceCall>> {
        let served =
            loaders::children::<visit_call::Entity>(ctx, visit_call::Column::VisitId, self.row.id)
                .await?;
        let calls = served
            .into_iter()
            .map(|row| ServiceCall::seen(ctx, row.call_id));
        Ok(try_join_all(calls).await?.into_iter().flatten().collect())
    }
}
