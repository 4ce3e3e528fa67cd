//! The general ledger: the lines of one account in the order of their days, with the balance after each.

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, ID, Object, SimpleObject};
use chrono::{Datelike, NaiveDate};
use nameplate_entities::posting;
use nameplate_rules::books::Side;

use crate::base::Error;
use crate::graphql::connection::{self, DayCursor, Page};
use crate::graphql::context::reader;
use crate::graphql::error::{bad_input, edge};
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;

use super::super::store;
use super::super::store::balances::{self, Reach, balance_of, kind_of_rules};
use super::{Account, JournalEntry};

/// The lines of one account in some days, and its balance before and after them. Balances are positive on the side on
/// which the account's class grows.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct GeneralLedger {
    /// The account.
    account: Account,
    /// First day.
    from: NaiveDate,
    /// Last day.
    to: NaiveDate,
    #[graphql(skip)]
    account_id: i64,
    #[graphql(skip)]
    side: Side,
}

/// One line of an account.
pub struct LedgerLine {
    row: posting::Model,
    /// The balance after it, debits positive.
    balance_cents: i64,
    side: Side,
}

/// The balance as shown.
fn shown(side: Side, debit_balance_cents: i64) -> Money {
    Money::cents(match side {
        Side::Debit => debit_balance_cents,
        Side::Credit => debit_balance_cents.saturating_neg(),
    })
}

/// One line of an account.
#[Object]
impl LedgerLine {
    /// The entry it belongs to.
    async fn entry(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<JournalEntry>> {
        JournalEntry::of(ctx, self.row.entry_id).await
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

    /// The account's balance after this line.
    async fn balance(&self) -> Money {
        shown(self.side, self.balance_cents)
    }
}

#[ComplexObject]
impl GeneralLedger {
    /// The balance before the first day.
    async fn opening(&self, ctx: &Context<'_>) -> async_graphql::Result<Money> {
        let reach = Reach::Before(self.from);
        let balance = balance_of(reader(ctx)?, self.account_id, reach);
        Ok(shown(self.side, balance.await.map_err(edge)?))
    }

    /// The balance after the last day.
    async fn closing(&self, ctx: &Context<'_>) -> async_graphql::Result<Money> {
        let reach = Reach::Through(self.to);
        let balance = balance_of(reader(ctx)?, self.account_id, reach);
        Ok(shown(self.side, balance.await.map_err(edge)?))
    }

    /// The lines, oldest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn lines(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<DayCursor, LedgerLine>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let db = reader(ctx)?;
        let mut lines = connection::by_day(
            db,
            balances::lines(self.account_id, self.from, self.to),
            (posting::Column::EntryOn, posting::Column::Id),
            page,
            (
                |row| DayCursor {
                    on: row.entry_on,
                    id: row.id,
                },
                |row| LedgerLine {
                    row,
                    balance_cents: 0,
                    side: Side::Debit,
                },
            ),
        )
        .await?;
        let Some(line) = lines.edges.first() else {
            return Ok(lines);
        };
        let reach = Reach::BeforeLine(line.node.row.entry_on, line.node.row.id);
        let mut balance = balance_of(db, self.account_id, reach).await.map_err(edge)?;
        for line in &mut lines.edges {
            let row = &line.node.row;
            balance = balance
                .checked_add(row.debit_cents)
                .and_then(|sum| sum.checked_sub(row.credit_cents))
                .ok_or_else(|| edge(Error::internal("a balance is too large")))?;
            line.node.balance_cents = balance;
            line.node.side = self.side;
        }
        Ok(lines)
    }
}

/// The general ledger.
#[derive(Default)]
pub struct LedgerQuery;

#[Object]
impl LedgerQuery {
    /// The lines of one account in some days, with its running balance; null if there is no such account.
    async fn general_ledger(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The account.")] account_id: ID,
        #[graphql(desc = "The first day that counts.")] from: NaiveDate,
        #[graphql(desc = "The last day that counts.")] to: NaiveDate,
    ) -> async_graphql::Result<Option<GeneralLedger>> {
        let is_kept = |day: NaiveDate| (1..=9999).contains(&day.year());
        if to < from || !is_kept(from) || !is_kept(to) {
            let message = format!("{from} to {to} are no days in order of the years 1 to 9999.");
            return Err(bad_input("to", message));
        }
        let Ok(row_id) = Kind::Account.row("accountId", &account_id) else {
            return Ok(None);
        };
        let row = match store::get_account(reader(ctx)?, "accountId", row_id).await {
            Ok(row) => row,
            Err(Error::Refused(_)) => return Ok(None),
            Err(error) => return Err(edge(error)),
        };
        Ok(Some(GeneralLedger {
            side: kind_of_rules(row.kind).normal_side(),
            account: row.into(),
            from,
            to,
            account_id: row_id,
        }))
    }
}
