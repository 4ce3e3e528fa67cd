//! The accounts at banks, as the desk sees them.

use async_graphql::{Context, ID, SimpleObject};
use nameplate_entities::account;

use crate::graphql::ids::Kind;
use crate::graphql::loaders;

/// An account of the chart on which money lies at a bank.
#[derive(SimpleObject)]
pub struct BankAccount {
    /// The account's opaque id, to name it by.
    account_id: ID,
    /// Its number in the chart.
    code: String,
    /// Its name.
    name: String,
    /// Whether it is the one the program pays from when nobody says otherwise.
    is_usual: bool,
}

impl From<account::Model> for BankAccount {
    fn from(row: account::Model) -> Self {
        Self {
            account_id: Kind::Account.id(row.id),
            is_usual: row.role.as_deref() == Some("bank"),
            code: row.code,
            name: row.name,
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
