//! The books in the graph: accounts and the journal.

pub mod accounts;
pub mod ledger;
pub mod mutations;
pub mod periods;

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, Enum, ID, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{account, journal_entry, journal_seal, posting};

use crate::base::Caller;
use crate::base::access::{Least, Role};
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::{bad_input, edge};
use crate::graphql::ids::{self, Kind};
use crate::graphql::loaders;
use crate::graphql::scalars::Money;
use crate::shop::graphql::Staff;

use super::store;
use super::store::balances::Balance;

pub use accounts::AccountsMutation;
pub use ledger::LedgerQuery;
pub use mutations::BooksMutation;
pub use periods::{PeriodsMutation, PeriodsQuery};

/// The five classes of account.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::AccountKind")]
pub enum AccountKind {
    /// What the shop has or is owed.
    Asset,
    /// What the shop owes.
    Liability,
    /// What is the owner's.
    Equity,
    /// What was earned.
    Revenue,
    /// What it cost.
    Expense,
}

/// One account of the chart.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Account {
    /// Its number in the chart.
    code: String,
    /// Its name.
    name: String,
    /// Which of the five classes it is.
    kind: AccountKind,
    /// What the program posts to it by itself, such as `receivable`; null for one of your own.
    role: Option<String>,
    /// Whether money lies on it at a bank.
    is_bank: bool,
    /// Since when it takes no more entries; null while it does.
    retired_at: Option<DateTime<Utc>>,
    /// Version, to send back with a change.
    version: i32,
    #[graphql(skip)]
    row_id: i64,
}

impl From<account::Model> for Account {
    fn from(row: account::Model) -> Self {
        Self {
            code: row.code,
            name: row.name,
            kind: row.kind.into(),
            role: row.role,
            is_bank: row.is_bank,
            retired_at: row.retired_at,
            version: row.version,
            row_id: row.id,
        }
    }
}

impl From<Balance> for Account {
    fn from(row: Balance) -> Self {
        Self {
            code: row.code,
            name: row.name,
            kind: row.kind.into(),
            role: row.role,
            is_bank: row.is_bank,
            retired_at: row.retired_at,
            version: row.version,
            row_id: row.id,
        }
    }
}

impl Account {
    /// The account behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<account::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The account with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if may_read(ctx)? {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }
}

#[ComplexObject]
impl Account {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Account.id(self.row_id)
    }
}

/// Whether the books are open to the caller: to the owner alone.
fn may_read(ctx: &Context<'_>) -> async_graphql::Result<bool> {
    let role: Option<Role> = match &act(ctx)?.caller {
        Caller::Staff { role, .. } => Some(*role),
        _ => None,
    };
    Ok(Least::Owner.admits(role))
}

/// One balanced entry. It is never changed, only reversed.
pub struct JournalEntry {
    row: journal_entry::Model,
}

impl From<journal_entry::Model> for JournalEntry {
    fn from(row: journal_entry::Model) -> Self {
        Self { row }
    }
}

impl JournalEntry {
    /// The entry behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<journal_entry::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The entry with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if may_read(ctx)? {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }
}

/// One balanced entry. It is never changed, only reversed.
#[Object]
impl JournalEntry {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::JournalEntry.id(self.row.id)
    }

    /// Its number, without gaps.
    async fn number(&self) -> &str {
        &self.row.number
    }

    /// The day it counts for.
    async fn on(&self) -> NaiveDate {
        self.row.entry_on
    }

    /// When it was posted.
    async fn posted_at(&self) -> DateTime<Utc> {
        self.row.posted_at
    }

    /// Who posted it; null for the program.
    async fn posted_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.row.posted_by {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// What happened.
    async fn memo(&self) -> &str {
        &self.row.memo
    }

    /// What kind of document it belongs to, such as `invoice`; `manual` for an entry by hand.
    async fn document_kind(&self) -> &str {
        &self.row.document_kind
    }

    /// The document it belongs to; null for an entry by hand.
    async fn document_id(&self) -> Option<ID> {
        let (kind, _) = DOCUMENTS
            .into_iter()
            .find(|(_, word)| *word == self.row.document_kind)?;
        Some(kind.id(self.row.document_id?))
    }

    /// Sum of its debits, which is the sum of its credits.
    async fn total(&self) -> Money {
        Money::cents(self.row.debit_cents)
    }

    /// Its postings, in order.
    async fn postings(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Posting>> {
        let rows = loaders::children::<posting::Entity>(ctx, posting::Column::EntryId, self.row.id)
            .await?;
        Ok(rows.into_iter().map(|row| Posting { row }).collect())
    }

    /// The entry that this one undoes.
    async fn reverses(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<JournalEntry>> {
        match self.row.reverses_entry_id {
            Some(id) => Self::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The fiscal year that it closes or, as a reversal, opens again, by the calendar year it ends in.
    async fn closes_year(&self) -> Option<i32> {
        self.row.closes_year
    }

    /// The hash over its content and the hash of the entry before it.
    async fn hash(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<String>> {
        let row = loaders::row::<journal_seal::Entity>(ctx, self.row.id).await?;
        Ok(row.map(|row| row.hash))
    }
}

/// Records that entries belong to, with the word the journal keeps for each.
const DOCUMENTS: [(Kind, &str); 10] = [
    (Kind::Invoice, "invoice"),
    (Kind::Payment, "payment"),
    (Kind::Refund, "refund"),
    (Kind::ServiceCall, "service_call"),
    (Kind::Remedy, "remedy"),
    (Kind::BankDeposit, "bank_deposit"),
    (Kind::StockMove, "stock_move"),
    (Kind::SupplierBill, "supplier_bill"),
    (Kind::SupplierPayment, "supplier_payment"),
    (Kind::WarrantyReserveRun, "reserve_run"),
];

/// One side of an entry on one account; one of debit and credit is zero.
pub struct Posting {
    row: posting::Model,
}

/// One side of an entry on one account; one of debit and credit is zero.
#[Object]
impl Posting {
    /// The account.
    async fn account(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Account>> {
        Account::of(ctx, self.row.account_id).await
    }

    /// Amount on the debit side.
    async fn debit(&self) -> Money {
        Money::cents(self.row.debit_cents)
    }

    /// Amount on the credit side.
    async fn credit(&self) -> Money {
        Money::cents(self.row.credit_cents)
    }

    /// The tax level that sales tax is owed to.
    async fn tax_level_id(&self) -> Option<ID> {
        Some(Kind::TaxLevel.id(self.row.tax_level_id?))
    }
}

/// Accounts and the journal.
#[derive(Default)]
pub struct BooksQuery;

#[Object]
impl BooksQuery {
    /// The chart of accounts, by code.
    async fn accounts(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Account>> {
        let rows = store::chart(reader(ctx)?).await.map_err(edge)?;
        Ok(rows.into_iter().map(Account::from).collect())
    }

    /// Entries of the journal, newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    #[expect(
        clippy::too_many_arguments,
        reason = "the four of every page, and two filters"
    )]
    async fn journal_entries(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only entries that touch this account.")] account_id: Option<ID>,
        #[graphql(desc = "Only entries of this invoice, payment or call.")] document_id: Option<ID>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, JournalEntry>> {
        let account = Kind::Account
            .row_if_any("accountId", account_id.as_ref())
            .map_err(edge)?;
        let document = document_id.as_ref().map(document_of).transpose()?;
        connection::newest_first(
            reader(ctx)?,
            store::entries(account, document),
            journal_entry::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, JournalEntry::from),
        )
        .await
    }
}

fn document_of(id: &ID) -> async_graphql::Result<(&'static str, i64)> {
    ids::read(id)
        .and_then(|(kind, row)| {
            let (_, word) = DOCUMENTS.into_iter().find(|(of, _)| *of == kind)?;
            Some((word, row))
        })
        .ok_or_else(|| bad_input("documentId", "This is no document that is in the books."))
}
