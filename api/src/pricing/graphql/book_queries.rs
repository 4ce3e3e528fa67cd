//! Asking for the book in force and its tasks.

use async_graphql::connection::Connection;
use async_graphql::{Context, ID, Object};
use chrono::NaiveDate;

use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::shop;

use super::super::store;
use super::{FlatRateTask, PriceBook};

/// Price books and their tasks.
#[derive(Default)]
pub struct PriceBooksQuery;

#[Object]
impl PriceBooksQuery {
    /// The price book in force on a day; null when none has taken effect by then.
    async fn price_book_in_force(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day; today when left out.")] on: Option<NaiveDate>,
    ) -> async_graphql::Result<Option<PriceBook>> {
        let db = reader(ctx)?;
        let day = match on {
            Some(day) => day,
            None => shop::settings(db).await.map_err(edge)?.day_of(act(ctx)?.at),
        };
        let row = store::adopted_on(db, day).await.map_err(edge)?;
        Ok(row.map(PriceBook::from))
    }

    /// Flat-rate tasks of a price book, the last of its list first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "the four of a page and three that narrow it"
    )]
    async fn flat_rate_tasks(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The book.")] price_book_id: ID,
        #[graphql(desc = "Only tasks for this type of machine, or for any.")]
        appliance_type_id: Option<ID>,
        #[graphql(desc = "Only tasks about this component.")] component_id: Option<ID>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, FlatRateTask>> {
        let book = Kind::PriceBook.row("priceBookId", &price_book_id);
        let book = book.map_err(edge)?;
        let of_type = Kind::ApplianceType
            .row_if_any("applianceTypeId", appliance_type_id.as_ref())
            .map_err(edge)?;
        let about = Kind::Component
            .row_if_any("componentId", component_id.as_ref())
            .map_err(edge)?;
        connection::newest_first(
            reader(ctx)?,
            store::listed_tasks(book, of_type, about),
            nameplate_entities::flat_rate_task::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, FlatRateTask::from),
        )
        .await
    }
}
