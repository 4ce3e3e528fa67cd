//! Lists of payers, programmes and kept parts.

use async_graphql::connection::Connection;
use async_graphql::{Context, ID, Object};
use chrono::NaiveDate;
use nameplate_entities::{kept_part, warranty_payer, warranty_programme};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::reader;
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;

use super::{KeptPart, WarrantyPayer, WarrantyProgramme};

/// Reads of warranties.
#[derive(Default)]
pub struct WarrantyQuery;

#[Object]
impl WarrantyQuery {
    /// Who pays for work under warranties, the newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn warranty_payers(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, WarrantyPayer>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let select = warranty_payer::Entity::find();
        let id = warranty_payer::Column::Id;
        let db = reader(ctx)?;
        connection::newest_first(db, select, id, page, (|row| row.id, WarrantyPayer::from)).await
    }

    /// Programmes, the newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn warranty_programmes(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only this payer's.")] payer_id: Option<ID>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, WarrantyProgramme>> {
        let mut select = warranty_programme::Entity::find();
        let payer = Kind::WarrantyPayer.row_if_any("payerId", payer_id.as_ref());
        if let Some(id) = payer.map_err(edge)? {
            select = select.filter(warranty_programme::Column::PayerId.eq(id));
        }
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let id = warranty_programme::Column::Id;
        let db = reader(ctx)?;
        connection::newest_first(
            db,
            select,
            id,
            page,
            (|row| row.id, WarrantyProgramme::from),
        )
        .await
    }

    /// Parts kept for payers, the newest first.
    #[expect(
        clippy::too_many_arguments,
        reason = "a page has four, and each is an argument of its own in the schema"
    )]
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn kept_parts(
        &self,
        ctx: &Context<'_>,
        #[graphql(
            desc = "Only those still here, neither sent back nor scrapped.",
            default
        )]
        here_only: bool,
        #[graphql(desc = "Only those wanted back by this day.")] return_by: Option<NaiveDate>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, KeptPart>> {
        use kept_part::Column;
        let mut select = kept_part::Entity::find();
        if here_only {
            select = select
                .filter(Column::SentOn.is_null())
                .filter(Column::ScrappedOn.is_null());
        }
        if let Some(day) = return_by {
            select = select.filter(Column::ReturnBy.lte(day));
        }
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let db = reader(ctx)?;
        connection::newest_first(db, select, Column::Id, page, (|row| row.id, KeptPart::from)).await
    }
}
