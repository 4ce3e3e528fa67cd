//! Lists of invoices and payments in the graph.

use async_graphql::connection::Connection;
use async_graphql::{Context, Enum, ID, Object};
use chrono::NaiveDate;
use nameplate_entities::{invoice, payment};

use crate::graphql::connection::{self, DayCursor, EitherCursor, Page, RowCursor};
use crate::graphql::context::reader;
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;

use super::super::store::{self, InvoicesWanted, PaymentsWanted};
use super::{Invoice, Payment};

/// In which order invoices are listed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Enum)]
pub enum InvoiceOrder {
    /// The newest first.
    #[default]
    Newest,
    /// By the day they are due, the earliest first.
    Due,
}

/// Invoices and payments.
#[derive(Default)]
pub struct InvoicesQuery;

#[Object]
impl InvoicesQuery {
    /// The invoice or credit note with this id; null if there is none.
    async fn invoice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Its id.")] id: ID,
    ) -> async_graphql::Result<Option<Invoice>> {
        match Kind::Invoice.row("id", &id) {
            Ok(row) => Invoice::find(ctx, row).await,
            Err(_) => Ok(None),
        }
    }

    /// Invoices and credit notes, newest first unless said otherwise.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "the four of every page, three filters and the order"
    )]
    async fn invoices(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only this customer's.")] customer_id: Option<ID>,
        #[graphql(desc = "Only invoices with something open.", default = false)] open_only: bool,
        #[graphql(desc = "Only invoices with something open that were due before this day.")]
        overdue_on: Option<NaiveDate>,
        #[graphql(desc = "In which order.", default)] order: InvoiceOrder,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<EitherCursor, Invoice>> {
        let wanted = InvoicesWanted {
            customer_id: Kind::Customer
                .row_if_any("customerId", customer_id.as_ref())
                .map_err(edge)?,
            open_only,
            overdue_on,
        };
        let (db, select) = (reader(ctx)?, store::invoices(wanted));
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let id = invoice::Column::Id;
        match order {
            InvoiceOrder::Newest => {
                connection::newest_first(db, select, id, page, (|row| row.id, Invoice::from))
                    .await
                    .map(connection::either)
            }
            InvoiceOrder::Due => {
                let place = |row: &invoice::Model| DayCursor {
                    on: row.due_on,
                    id: row.id,
                };
                let columns = (invoice::Column::DueOn, id);
                connection::by_day(db, select, columns, page, (place, Invoice::from))
                    .await
                    .map(connection::either)
            }
        }
    }

    /// Payments, newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "the four of every page, and two filters"
    )]
    async fn payments(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only this customer's.")] customer_id: Option<ID>,
        #[graphql(
            desc = "Only payments of which something settles no invoice yet.",
            default = false
        )]
        unallocated_only: bool,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Payment>> {
        let wanted = PaymentsWanted {
            customer_id: Kind::Customer
                .row_if_any("customerId", customer_id.as_ref())
                .map_err(edge)?,
            unallocated_only,
        };
        connection::newest_first(
            reader(ctx)?,
            store::payments(wanted),
            payment::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, Payment::from),
        )
        .await
    }
}
