//! Closing days and years, and opening them again.

use async_graphql::connection::Connection;
use async_graphql::{Context, Enum, InputObject, Object};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::period_event;

use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::payload;
use crate::shop::graphql::{Shop, Staff};

use super::super::operations;
use super::super::store::periods;
use super::JournalEntry;

/// What was done to a period of the books.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::PeriodEventKind")]
pub enum PeriodEventKind {
    /// Days were closed.
    BooksClosed,
    /// Closed days were opened again.
    BooksReopened,
    /// A fiscal year was closed.
    YearClosed,
    /// A closed year was opened again, by undoing its closing entry.
    YearReopened,
}

/// One time that days or a year were closed or opened again.
pub struct PeriodEvent {
    row: period_event::Model,
}

impl From<period_event::Model> for PeriodEvent {
    fn from(row: period_event::Model) -> Self {
        Self { row }
    }
}

/// One time that days or a year were closed or opened again.
#[Object]
impl PeriodEvent {
    /// What was done.
    async fn kind(&self) -> PeriodEventKind {
        self.row.kind.into()
    }

    /// Through which day the books were closed before; null for open.
    async fn closed_before(&self) -> Option<NaiveDate> {
        self.row.closed_before
    }

    /// Through which day they were closed afterwards; null for open.
    async fn closed_through(&self) -> Option<NaiveDate> {
        self.row.closed_through
    }

    /// The fiscal year, by the calendar year it ends in.
    async fn year(&self) -> Option<i32> {
        self.row.year
    }

    /// Why they were opened again.
    async fn reason(&self) -> Option<&str> {
        self.row.reason.as_deref()
    }

    /// When.
    async fn at(&self) -> DateTime<Utc> {
        self.row.at
    }

    /// Who did it.
    async fn by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.staff_id).await
    }

    /// The entry that closed the year or undid that.
    async fn journal_entry(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<JournalEntry>> {
        match self.row.entry_id {
            Some(id) => JournalEntry::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// What was closed and opened.
#[derive(Default)]
pub struct PeriodsQuery;

#[Object]
impl PeriodsQuery {
    /// Who closed and opened what and when, newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn period_events(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, PeriodEvent>> {
        connection::newest_first(
            reader(ctx)?,
            periods::events(),
            period_event::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, PeriodEvent::from),
        )
        .await
    }
}

/// Through which day to close.
#[derive(InputObject)]
pub struct CloseBooksInput {
    /// The last day that takes no more entries.
    through: NaiveDate,
}

payload! {
    /// What closing the books gave.
    CloseBooksPayload {
        /// Through which day they are closed now.
        closed_through: NaiveDate
    }
}

/// What to open again.
#[derive(InputObject)]
pub struct ReopenBooksInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The last day that stays closed; left out, everything is opened.
    closed_through: Option<NaiveDate>,
    /// Why; it is kept in the list of periods.
    reason: String,
}

payload! {
    /// What opening the books again gave.
    ReopenBooksPayload {
        /// The shop, which says through which day its books are closed now.
        shop: Shop
    }
}

/// Which fiscal year to close.
#[derive(InputObject)]
pub struct CloseYearInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The calendar year that the fiscal year ends in.
    year: i32,
}

payload! {
    /// What closing a fiscal year gave.
    CloseYearPayload {
        /// The entry that took revenue, expense and drawings to retained earnings.
        journal_entry: JournalEntry
    }
}

/// Closing days and years.
#[derive(Default)]
pub struct PeriodsMutation;

#[Object]
impl PeriodsMutation {
    /// Closes the books through a day.
    async fn close_books(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Through which day.")] input: CloseBooksInput,
    ) -> async_graphql::Result<CloseBooksPayload> {
        let outcome = operations::close_books(act(ctx)?, input.through).await;
        CloseBooksPayload::of(outcome.map(|row| row.books_closed_through.unwrap_or(input.through)))
    }

    /// Opens closed days again, with a reason. A year that was closed on one of them is opened too: its closing entry is
    /// undone.
    async fn reopen_books(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What to open, and why.")] input: ReopenBooksInput,
    ) -> async_graphql::Result<ReopenBooksPayload> {
        let order = operations::ReopenBooks {
            idempotency_key: input.idempotency_key,
            closed_through: input.closed_through,
            reason: input.reason,
        };
        let outcome = operations::reopen_books(act(ctx)?, order).await;
        ReopenBooksPayload::of(outcome.map(Shop::from))
    }

    /// Closes a fiscal year that is over: revenue, expense and drawings go to retained earnings by one entry of its last
    /// day, which income statements leave out.
    async fn close_year(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which year.")] input: CloseYearInput,
    ) -> async_graphql::Result<CloseYearPayload> {
        let order = operations::CloseYear {
            idempotency_key: input.idempotency_key,
            year: input.year,
        };
        let outcome = operations::close_year(act(ctx)?, order).await;
        CloseYearPayload::of(outcome.map(JournalEntry::from))
    }
}
