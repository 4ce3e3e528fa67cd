//! The accounts at banks, as the desk sees them.

use async_graphql::{ComplexObject, Context, ID, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::{account, bank_layout, bank_reconciliation};

use crate::books;
use crate::graphql::context::reader;
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;

use super::layouts::BankLayout;

/// An account of the chart on which money lies at a bank.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct BankAccount {
    /// The account's opaque id, to name it by.
    account_id: ID,
    /// Its number in the chart.
    code: String,
    /// Its name.
    name: String,
    /// Whether it is the one the program pays from when nobody says otherwise.
    is_usual: bool,
    #[graphql(skip)]
    row_id: i64,
}

impl From<account::Model> for BankAccount {
    fn from(row: account::Model) -> Self {
        Self {
            account_id: Kind::Account.id(row.id),
            is_usual: row.role.as_deref() == Some("bank"),
            code: row.code,
            name: row.name,
            row_id: row.id,
        }
    }
}

impl BankAccount {
    /// The account behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<account::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }
}

#[ComplexObject]
impl BankAccount {
    /// How its bank's files are read; null until somebody says.
    async fn layout(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<BankLayout>> {
        let row = loaders::row::<bank_layout::Entity>(ctx, self.row_id).await?;
        Ok(row.map(BankLayout::from))
    }

    /// The last day through which it is reconciled; null before the first time.
    async fn reconciled_through(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<NaiveDate>> {
        let column = bank_reconciliation::Column::AccountId;
        let rows = loaders::children::<bank_reconciliation::Entity>(ctx, column, self.row_id);
        let rows = rows.await?;
        let standing = rows.iter().filter(|row| row.reopened_at.is_none());
        Ok(standing.map(|row| row.through_on).max())
    }
}

/// Accounts at banks.
#[derive(Default)]
pub struct BankAccountsQuery;

#[Object]
impl BankAccountsQuery {
    /// The accounts at banks that are in use, by number.
    #[graphql(complexity = "10 + 10 * child_complexity")]
    async fn bank_accounts(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<BankAccount>> {
        let chart = books::chart(reader(ctx)?).await.map_err(edge)?;
        let banks = chart
            .into_iter()
            .filter(|row| row.is_bank && row.retired_at.is_none());
        Ok(banks.map(BankAccount::from).collect())
    }
}
