//! Reports: each is one statement over the postings, summed by account.

use async_graphql::{Context, ID, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_rules::books::statements::{self, TrialBalance as Sums};
use nameplate_rules::books::{self as rules, Side};
use nameplate_rules::money::Cents;

use crate::base::{Error, Result};
use crate::graphql::context::reader;
use crate::graphql::error::{bad_input, edge};
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;

use super::super::store::{self, Balance, Days};
use super::Account;

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

/// What was earned and what it cost, as invoiced (accrual).
#[derive(SimpleObject)]
pub struct IncomeStatement {
    /// First day.
    from: NaiveDate,
    /// Last day.
    to: NaiveDate,
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

/// What the shop has, owes and is worth on a day.
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
pub struct ReportsQuery;

#[Object]
impl ReportsQuery {
    /// The trial balance through a day.
    #[graphql(complexity = "50 + 30 * child_complexity")]
    async fn trial_balance(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The last day that counts.")] on: NaiveDate,
    ) -> async_graphql::Result<TrialBalance> {
        let (balances, sums) = read(ctx, Days::through(on)).await?;
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

    /// Revenue and expenses of some days, as invoiced.
    #[graphql(complexity = "50 + 30 * child_complexity")]
    async fn income_statement(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The first day that counts.")] from: NaiveDate,
        #[graphql(desc = "The last day that counts.")] to: NaiveDate,
    ) -> async_graphql::Result<IncomeStatement> {
        if to < from {
            return Err(bad_input("to", format!("{to} lies before {from}.")));
        }
        let days = Days {
            from: Some(from),
            through: Some(to),
        };
        let (balances, sums) = read(ctx, days).await?;
        let income = statements::income(&sums).map_err(too_large)?;
        Ok(IncomeStatement {
            from,
            to,
            revenue_rows: amounts(&balances, rules::AccountKind::Revenue),
            expense_rows: amounts(&balances, rules::AccountKind::Expense),
            revenue: income.revenue.into(),
            expenses: income.expenses.into(),
            net: income.net.into(),
        })
    }

    /// Assets, liabilities and equity on a day.
    #[graphql(complexity = "50 + 30 * child_complexity")]
    async fn balance_sheet(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day.")] on: NaiveDate,
    ) -> async_graphql::Result<BalanceSheet> {
        let (balances, sums) = read(ctx, Days::through(on)).await?;
        let position = statements::position(&sums).map_err(too_large)?;
        let income = statements::income(&sums).map_err(too_large)?;
        Ok(BalanceSheet {
            on,
            asset_rows: amounts(&balances, rules::AccountKind::Asset),
            liability_rows: amounts(&balances, rules::AccountKind::Liability),
            equity_rows: amounts(&balances, rules::AccountKind::Equity),
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
        let rows = store::tax_owed(reader(ctx)?, on).await.map_err(edge)?;
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

/// Accounts with a balance and their sums, row for row.
async fn read(
    ctx: &Context<'_>,
    days: Days,
) -> async_graphql::Result<(Vec<Balance>, Sums<String>)> {
    let balances: Vec<Balance> = store::balances(reader(ctx)?, days)
        .await
        .map_err(edge)?
        .into_iter()
        .filter(|balance| balance.balance_cents != 0)
        .collect();
    let sums = trial_balance(&balances).map_err(edge)?;
    Ok((balances, sums))
}

fn trial_balance(balances: &[Balance]) -> Result<Sums<String>> {
    statements::trial_balance(balances.iter().map(|balance| {
        (
            balance.code.clone(),
            balance.rules_kind(),
            Cents(balance.balance_cents),
        )
    }))
    .map_err(|refusal| Error::caused("trial balance", refusal))
}

fn too_large(refusal: rules::BooksRefusal) -> async_graphql::Error {
    edge(Error::caused("statement", refusal))
}

fn amounts(balances: &[Balance], kind: rules::AccountKind) -> Vec<AccountAmount> {
    balances
        .iter()
        .filter(|balance| balance.rules_kind() == kind)
        .map(|balance| AccountAmount {
            amount: Money::cents(match kind.normal_side() {
                Side::Debit => balance.balance_cents,
                Side::Credit => balance.balance_cents.saturating_neg(),
            }),
            account: balance.clone().into(),
        })
        .collect()
}
