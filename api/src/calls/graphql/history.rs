//! What was found and done on one machine, over all its owners.
//!
//! Any member of staff may read it for any machine. It names no customer and no address.

use async_graphql::connection::Connection;
use async_graphql::{Context, Object};
use chrono::NaiveDate;
use nameplate_entities::{finding, service_call, staff};

use crate::appliances::graphql::{Component, FailureMode};
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::reader;
use crate::graphql::error::edge;
use crate::graphql::loaders;
use crate::shop;

use super::super::store;
use super::work::{Remedy, remedies_of};

/// One finding on a machine and what was done about it.
pub struct HistoryEntry {
    day: NaiveDate,
    row: finding::Model,
}

impl From<finding::Model> for HistoryEntry {
    fn from(row: finding::Model) -> Self {
        Self {
            day: row.found_at.date_naive(),
            row,
        }
    }
}

/// A page of the history of a machine, newest first.
pub async fn page(
    ctx: &Context<'_>,
    appliance_id: i64,
    page: Page,
) -> async_graphql::Result<Connection<RowCursor, HistoryEntry>> {
    let db = reader(ctx)?;
    let settings = shop::settings(db).await.map_err(edge)?;
    let mut found = connection::newest_first(
        db,
        store::history_of(appliance_id),
        finding::Column::Id,
        page,
        (|row| row.id, HistoryEntry::from),
    )
    .await?;
    for entry in &mut found.edges {
        entry.node.day = settings.day_of(entry.node.row.found_at);
    }
    Ok(found)
}

/// One finding on a machine and what was done about it.
#[Object]
impl HistoryEntry {
    /// The shop's day on which it was found.
    async fn day(&self) -> NaiveDate {
        self.day
    }

    /// Number of the call.
    async fn call_number(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<String>> {
        let call = loaders::row::<service_call::Entity>(ctx, self.row.call_id).await?;
        Ok(call.map(|call| call.number))
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

    /// Name of the technician who found it.
    async fn technician_name(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<String>> {
        let person = loaders::row::<staff::Entity>(ctx, self.row.found_by).await?;
        Ok(person.map(|person| person.name))
    }

    /// What was done about it and fitted, oldest first.
    async fn remedies(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Remedy>> {
        remedies_of(ctx, self.row.id).await
    }
}
