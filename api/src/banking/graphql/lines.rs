//! Lines of banks, postings of the books, and what of them is the same money.

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, ID, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use futures_util::future::try_join_all;
use nameplate_entities::{
    bank_line, bank_match, bank_match_posting, bank_statement, journal_entry, posting,
};

use crate::base::Error;
use crate::graphql::connection::{self, DayCursor, Page, RowCursor};
use crate::graphql::context::reader;
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;
use crate::shop::graphql::Staff;

use super::super::proposing;
use super::super::store::{lines as store, matches};

/// One file of a bank that was taken in.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct BankStatement {
    /// Lines that were new.
    line_count: i32,
    /// Lines that were there already.
    known_count: i32,
    /// Day of its first line.
    first_on: NaiveDate,
    /// Day of its last line.
    last_on: NaiveDate,
    /// When it was taken in.
    imported_at: DateTime<Utc>,
    /// SHA-256 of the file.
    content_hash: String,
    #[graphql(skip)]
    row: bank_statement::Model,
}

impl From<bank_statement::Model> for BankStatement {
    fn from(row: bank_statement::Model) -> Self {
        Self {
            line_count: row.line_count,
            known_count: row.known_count,
            first_on: row.first_on,
            last_on: row.last_on,
            imported_at: row.imported_at,
            content_hash: row.content_hash.clone(),
            row,
        }
    }
}

#[ComplexObject]
impl BankStatement {
    /// To tell it by.
    async fn statement_id(&self) -> ID {
        Kind::BankStatement.id(self.row.id)
    }

    /// Who took it in.
    async fn imported_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.imported_by).await
    }
}

/// One line of a bank's statement.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct BankLine {
    /// The bank's day.
    on: NaiveDate,
    /// Above zero for money in.
    amount: Money,
    /// What the bank wrote.
    text: String,
    /// Who paid or was paid, as the bank has it.
    payee: Option<String>,
    /// A number of the check or transfer, as the bank has it.
    reference: Option<String>,
    /// The bank's own id.
    bank_id: Option<String>,
    /// The balance after it, as the bank has it.
    balance: Option<Money>,
    /// Whether it is reconciled.
    is_reconciled: bool,
    #[graphql(skip)]
    row: bank_line::Model,
}

impl From<bank_line::Model> for BankLine {
    fn from(row: bank_line::Model) -> Self {
        Self {
            on: row.booked_on,
            amount: Money::cents(row.amount_cents),
            text: row.words.clone(),
            payee: row.payee.clone(),
            reference: row.reference.clone(),
            bank_id: row.bank_key.clone(),
            balance: row.balance_cents.map(Money::cents),
            is_reconciled: row.reconciliation_id.is_some(),
            row,
        }
    }
}

#[ComplexObject]
impl BankLine {
    /// To name it by.
    async fn line_id(&self) -> ID {
        Kind::BankLine.id(self.row.id)
    }

    /// What it is matched to; null while it waits.
    async fn matched(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<BankMatch>> {
        let Some(id) = self.row.match_id else {
            return Ok(None);
        };
        let row = loaders::row::<bank_match::Entity>(ctx, id).await?;
        Ok(row.map(BankMatch::from))
    }
}

/// One movement of a bank's account in the books.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct BankPosting {
    /// To name it by.
    posting_id: ID,
    /// The day in the books.
    on: NaiveDate,
    /// Above zero for money in.
    amount: Money,
    #[graphql(skip)]
    entry_id: i64,
}

impl From<matches::Booked> for BankPosting {
    fn from(row: matches::Booked) -> Self {
        Self {
            posting_id: Kind::Posting.id(row.id),
            on: row.entry_on,
            amount: Money::cents(row.amount_cents),
            entry_id: row.entry_id,
        }
    }
}

impl From<posting::Model> for BankPosting {
    fn from(row: posting::Model) -> Self {
        Self {
            posting_id: Kind::Posting.id(row.id),
            on: row.entry_on,
            amount: Money::cents(row.debit_cents - row.credit_cents),
            entry_id: row.entry_id,
        }
    }
}

impl BankPosting {
    /// The posting with this id, batched with the others of the same level.
    async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<posting::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }

    async fn entry(&self, ctx: &Context<'_>) -> async_graphql::Result<journal_entry::Model> {
        let row = loaders::row::<journal_entry::Entity>(ctx, self.entry_id).await?;
        row.ok_or_else(|| edge(Error::internal("a posting without its entry")))
    }
}

#[ComplexObject]
impl BankPosting {
    /// What its entry says.
    async fn memo(&self, ctx: &Context<'_>) -> async_graphql::Result<String> {
        Ok(self.entry(ctx).await?.memo)
    }

    /// The number of its entry.
    async fn entry_number(&self, ctx: &Context<'_>) -> async_graphql::Result<String> {
        Ok(self.entry(ctx).await?.number)
    }

    /// What kind of document it belongs to.
    async fn document_kind(&self, ctx: &Context<'_>) -> async_graphql::Result<String> {
        Ok(self.entry(ctx).await?.document_kind)
    }
}

/// Lines of a bank and postings of the books that are the same money.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct BankMatch {
    /// Why.
    reason: String,
    /// When it was confirmed.
    made_at: DateTime<Utc>,
    #[graphql(skip)]
    row: bank_match::Model,
}

impl From<bank_match::Model> for BankMatch {
    fn from(row: bank_match::Model) -> Self {
        Self {
            reason: row.reason.clone(),
            made_at: row.made_at,
            row,
        }
    }
}

#[ComplexObject]
impl BankMatch {
    /// To name it by.
    async fn match_id(&self) -> ID {
        Kind::BankMatch.id(self.row.id)
    }

    /// Who confirmed it.
    async fn made_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.made_by).await
    }

    /// Its lines, 100 at most.
    #[graphql(complexity = "5 + 5 * child_complexity")]
    async fn lines(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<BankLine>> {
        let column = bank_line::Column::MatchId;
        let rows = loaders::children::<bank_line::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(BankLine::from).collect())
    }

    /// Its postings, 500 at most.
    #[graphql(complexity = "10 + 5 * child_complexity")]
    async fn postings(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<BankPosting>> {
        let column = bank_match_posting::Column::MatchId;
        let rows = loaders::children::<bank_match_posting::Entity>(ctx, column, self.row.id);
        let of_match = rows.await?.into_iter();
        let shown = try_join_all(of_match.map(|row| BankPosting::of(ctx, row.posting_id)));
        Ok(shown.await?.into_iter().flatten().collect())
    }
}

/// Lines and postings that may be the same money.
#[derive(SimpleObject)]
pub struct BankProposal {
    /// Lines of the bank.
    lines: Vec<BankLine>,
    /// Postings of the books with the same sum.
    postings: Vec<BankPosting>,
    /// The higher, the better.
    score: i32,
    /// Why, in words.
    reason: String,
    /// Whether another is as good, so that you must choose.
    is_ambiguous: bool,
}

impl From<proposing::Proposal> for BankProposal {
    fn from(one: proposing::Proposal) -> Self {
        Self {
            lines: one.lines.into_iter().map(BankLine::from).collect(),
            postings: one.postings.into_iter().map(BankPosting::from).collect(),
            score: i32::try_from(one.score).unwrap_or(i32::MAX),
            reason: one.reason,
            is_ambiguous: one.is_ambiguous,
        }
    }
}

fn account_row(id: &ID) -> async_graphql::Result<i64> {
    Kind::Account.row("bankAccountId", id).map_err(edge)
}

/// Lines of banks and what they may be.
#[derive(Default)]
pub struct BankLinesQuery;

#[Object]
impl BankLinesQuery {
    /// Files of a bank that were taken in, newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn bank_statements(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The account at a bank.")] bank_account_id: ID,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, BankStatement>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let select = store::statements(account_row(&bank_account_id)?);
        let (db, id) = (reader(ctx)?, bank_statement::Column::Id);
        connection::newest_first(db, select, id, page, (|row| row.id, BankStatement::from)).await
    }

    /// Lines of a bank, the earliest day first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "the four of every page, and two filters"
    )]
    async fn bank_lines(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The account at a bank.")] bank_account_id: ID,
        #[graphql(desc = "Only lines that nothing is matched to.", default = false)]
        open_only: bool,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<DayCursor, BankLine>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let select = store::lines(account_row(&bank_account_id)?, open_only);
        let order = (bank_line::Column::BookedOn, bank_line::Column::Id);
        let place = |row: &bank_line::Model| DayCursor {
            on: row.booked_on,
            id: row.id,
        };
        connection::by_day(reader(ctx)?, select, order, page, (place, BankLine::from)).await
    }

    /// What the 200 oldest lines that wait may be in the books, the best first; 300 at most. Nothing is confirmed by itself.
    #[graphql(complexity = "100 + 50 * child_complexity")]
    async fn bank_proposals(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The account at a bank.")] bank_account_id: ID,
    ) -> async_graphql::Result<Vec<BankProposal>> {
        let found = proposing::proposals(reader(ctx)?, account_row(&bank_account_id)?).await;
        let found = found.map_err(edge)?;
        Ok(found.into_iter().map(BankProposal::from).collect())
    }
}
