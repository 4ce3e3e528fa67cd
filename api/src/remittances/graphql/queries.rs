//! Lists of advices, what of them waits for somebody, and figures of payers.

use async_graphql::connection::Connection;
use async_graphql::{Context, ID, Object};
use chrono::NaiveDate;
use nameplate_entities::{advice_row, payer_advice};

use crate::graphql::connection::{self, EitherCursor, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::shop;

use super::super::{figures, layouts, store};
use super::figures::FiguresOfPayer;
use super::layouts::AdviceLayout;
use super::{AdviceRow, PayerAdvice};

/// Reads of payers' advices.
#[derive(Default)]
pub struct RemittancesQuery;

#[Object]
impl RemittancesQuery {
    /// How a payer's advices are read; null where nobody said it yet.
    async fn advice_layout(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The payer.")] payer_id: ID,
    ) -> async_graphql::Result<Option<AdviceLayout>> {
        let payer_id = Kind::WarrantyPayer
            .row("payerId", &payer_id)
            .map_err(edge)?;
        let row = layouts::find(reader(ctx)?, payer_id).await.map_err(edge)?;
        Ok(row.map(AdviceLayout::from))
    }

    /// Payers' advices, the newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn payer_advices(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only this payer's.")] payer_id: Option<ID>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, PayerAdvice>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let select = store::advices(payer_row(payer_id.as_ref())?);
        let id = payer_advice::Column::Id;
        let db = reader(ctx)?;
        connection::newest_first(db, select, id, page, (|row| row.id, PayerAdvice::from)).await
    }

    /// Rows of advices that wait for somebody to say which claim they are about, or that they are about none; the newest
    /// first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn advice_work_list(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only this payer's.")] payer_id: Option<ID>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<EitherCursor, AdviceRow>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let select = store::work_list(payer_row(payer_id.as_ref())?);
        let id = advice_row::Column::Id;
        connection::newest_first(
            reader(ctx)?,
            select,
            id,
            page,
            (|row| row.id, AdviceRow::from),
        )
        .await
        .map(connection::either)
    }

    /// How payers treated the claims that were submitted within these days, as it stands today; who was claimed most from
    /// first.
    #[graphql(complexity = "100 + 20 * child_complexity")]
    async fn payer_figures(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only this payer.")] payer_id: Option<ID>,
        #[graphql(desc = "The first day.")] from: NaiveDate,
        #[graphql(desc = "The last day; at most three years after the first.")] through: NaiveDate,
    ) -> async_graphql::Result<Vec<FiguresOfPayer>> {
        let db = reader(ctx)?;
        let settings = shop::settings(db).await.map_err(edge)?;
        let asked = figures::Asked {
            payer_id: payer_row(payer_id.as_ref())?,
            from,
            through,
            today: settings.day_of(act(ctx)?.at),
        };
        let found = figures::payer_figures(db, asked).await.map_err(edge)?;
        Ok(found.into_iter().map(FiguresOfPayer::from).collect())
    }
}

fn payer_row(id: Option<&ID>) -> async_graphql::Result<Option<i64>> {
    Kind::WarrantyPayer.row_if_any("payerId", id).map_err(edge)
}
