//! Statements of the books: each is one statement over the postings, summed by account; the cash basis reads documents too.

use async_graphql::{Context, ID, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_rules::books::AccountKind;
use nameplate_rules::books::statements::{income, position};

use crate::books::graphql::Account;
use crate::books::tax_owed;
use crate::graphql::context::reader;
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;

use super::super::statements::{self, Statement};
use super::super::too_large;
use super::{Basis, day, span};

/// One account of a trial balance; one of debit and credit is zero.
#[derive(SimpleObject)]
pub struct TrialBalanceRow {
    /// The account.
    account: Account,
    /// Its balance, if it is a debit.
    debit: Money,
    /// Its balance, if it is a credit.
    credit: Money,
}

/// Every account with a balance, and the two totals, which are equal.
#[derive(SimpleObject)]
pub struct TrialBalance {
    /// Through which day.
    on: NaiveDate,
    /// Accounts with a balance, by code.
    rows: Vec<TrialBalanceRow>,
    /// Sum of the debits.
    debits: Money,
    /// Sum of the credits.
    credits: Money,
}

/// What one account adds up to, positive on the side on which its class grows.
#[derive(SimpleObject)]
pub struct AccountAmount {
    /// The account.
    account: Account,
    /// The amount.
    amount: Money,
}

/// What was earned and what it cost. On the cash basis sales count as far as they are paid, after their discounts, and
/// neither write-offs nor other entries that touch receivables count. Expenses of suppliers' bills count as far as these
/// are paid, on the day paid; parts bought into stock when they are used; other expenses on the day they are posted.
#[derive(SimpleObject)]
pub struct IncomeStatement {
    /// First day.
    from: NaiveDate,
    /// Last day.
    to: NaiveDate,
    /// Which days sales and suppliers' bills count on.
    basis: Basis,
    /// Revenue by account.
    revenue_rows: Vec<AccountAmount>,
    /// Expenses by account.
    expense_rows: Vec<AccountAmount>,
    /// All revenue.
    revenue: Money,
    /// All expenses.
    expenses: Money,
    /// Revenue less expenses; a loss is below zero.
    net: Money,
}

/// What the shop has, owes and is worth on a day. A year that was closed on that very day is shown with its result still
/// apart, so that the sheet reads the same before it is closed and after.
#[derive(SimpleObject)]
pub struct BalanceSheet {
    /// The day.
    on: NaiveDate,
    /// Assets by account.
    asset_rows: Vec<AccountAmount>,
    /// Liabilities by account.
    liability_rows: Vec<AccountAmount>,
    /// Equity by account, without income that is not closed to it yet.
    equity_rows: Vec<AccountAmount>,
    /// Income that is not closed to equity yet.
    net_income: Money,
    /// All assets.
    assets: Money,
    /// All liabilities.
    liabilities: Money,
    /// All equity, net income included.
    equity: Money,
}

/// Sales tax that is owed to one level.
#[derive(SimpleObject)]
pub struct TaxOwed {
    /// The level; name it when a payment to it is posted by hand.
    tax_level_id: ID,
    /// The level's name.
    name: String,
    /// The jurisdiction it belongs to.
    jurisdiction: String,
    /// What is owed to it.
    amount: Money,
}

/// Reports of the books.
#[derive(Default)]
pub struct StatementsQuery;

#[Object]
impl StatementsQuery {
    /// The trial balance through a day.
    #[graphql(complexity = "50 + 30 * child_complexity")]
    async fn trial_balance(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The last day that counts.")] on: NaiveDate,
        #[graphql(
            desc = "Whether to leave out what closed a year on that very day.",
            default = false
        )]
        before_closing: bool,
    ) -> async_graphql::Result<TrialBalance> {
        let found = statements::trial_balance(reader(ctx)?, day(on)?, before_closing);
        let Statement { balances, sums } = found.await.map_err(edge)?;
        let rows = sums
            .rows
            .iter()
            .zip(balances)
            .map(|(sum, balance)| TrialBalanceRow {
                account: balance.into(),
                debit: sum.debit.into(),
                credit: sum.credit.into(),
            });
        Ok(TrialBalance {
            on,
            rows: rows.collect(),
            debits: sums.debits.into(),
            credits: sums.credits.into(),
        })
    }

    /// Revenue and expenses of some days. Entries that close a year do not count.
    #[graphql(complexity = "50 + 30 * child_complexity")]
    async fn income_statement(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The first day that counts.")] from: NaiveDate,
        #[graphql(desc = "The last day that counts.")] to: NaiveDate,
        #[graphql(desc = "Which days a sale counts on.", default_with = "Basis::Accrual")]
        basis: Basis,
    ) -> async_graphql::Result<IncomeStatement> {
        let found = statements::income(reader(ctx)?, span(from, to)?, basis.into());
        let found = found.await.map_err(edge)?;
        let sums = income(&found.sums).map_err(|refusal| edge(too_large(refusal)))?;
        Ok(IncomeStatement {
            from,
            to,
            basis,
            revenue_rows: amounts(&found, AccountKind::Revenue),
            expense_rows: amounts(&found, AccountKind::Expense),
            revenue: sums.revenue.into(),
            expenses: sums.expenses.into(),
            net: sums.net.into(),
        })
    }

    /// Assets, liabilities and equity on a day.
    #[graphql(complexity = "50 + 30 * child_complexity")]
    async fn balance_sheet(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day.")] on: NaiveDate,
    ) -> async_graphql::Result<BalanceSheet> {
        let found = statements::balance_sheet(reader(ctx)?, day(on)?)
            .await
            .map_err(edge)?;
        let position = position(&found.sums).map_err(|refusal| edge(too_large(refusal)))?;
        let income = income(&found.sums).map_err(|refusal| edge(too_large(refusal)))?;
        Ok(BalanceSheet {
            on,
            asset_rows: amounts(&found, AccountKind::Asset),
            liability_rows: amounts(&found, AccountKind::Liability),
            equity_rows: amounts(&found, AccountKind::Equity),
            net_income: income.net.into(),
            assets: position.assets.into(),
            liabilities: position.liabilities.into(),
            equity: position.equity.into(),
        })
    }

    /// Sales tax owed through a day, by level; it adds up to sales tax payable.
    #[graphql(complexity = "50 + 30 * child_complexity")]
    async fn sales_tax_owed(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The last day that counts.")] on: NaiveDate,
    ) -> async_graphql::Result<Vec<TaxOwed>> {
        let rows = tax_owed(reader(ctx)?, day(on)?).await.map_err(edge)?;
        Ok(rows
            .into_iter()
            .map(|row| TaxOwed {
                tax_level_id: Kind::TaxLevel.id(row.tax_level_id),
                name: row.name,
                jurisdiction: row.jurisdiction,
                amount: Money::cents(row.owed_cents),
            })
            .collect())
    }
}

fn amounts(statement: &Statement, kind: AccountKind) -> Vec<AccountAmount> {
    statement
        .of_kind(kind)
        .map(|(balance, amount)| AccountAmount {
            account: balance.clone().into(),
            amount: amount.into(),
        })
        .collect()
}
