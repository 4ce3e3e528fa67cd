//! What the owner does to the chart of accounts.

use async_graphql::{Context, ID, InputObject, Object};

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::payload;

use super::super::operations::{self, AccountAsRead};
use super::{Account, AccountKind};

/// An account to add to the chart.
#[derive(InputObject)]
pub struct AddAccountInput {
    /// Its number, not yet in use.
    code: String,
    /// Its name.
    name: String,
    /// Which of the five classes it is.
    kind: AccountKind,
    /// Whether money lies on it at a bank; for assets only.
    #[graphql(default = false)]
    is_bank: bool,
}

payload! {
    /// What adding an account gave.
    AddAccountPayload {
        /// The account.
        account: Account
    }
}

/// What to change of an account; what is left out stays.
#[derive(InputObject)]
pub struct ChangeAccountInput {
    /// The account.
    account_id: ID,
    /// Its version as you read it.
    version: i32,
    /// Another number, not yet in use.
    code: Option<String>,
    /// Another name.
    name: Option<String>,
    /// Whether money lies on it at a bank; for assets only.
    is_bank: Option<bool>,
}

payload! {
    /// What changing an account gave.
    ChangeAccountPayload {
        /// The account as it is now.
        account: Account
    }
}

/// Which account takes no more entries.
#[derive(InputObject)]
pub struct RetireAccountInput {
    /// The account.
    account_id: ID,
    /// Its version as you read it.
    version: i32,
}

payload! {
    /// What retiring an account gave.
    RetireAccountPayload {
        /// The account as it is now.
        account: Account
    }
}

/// Which account takes entries again.
#[derive(InputObject)]
pub struct RestoreAccountInput {
    /// The account.
    account_id: ID,
    /// Its version as you read it.
    version: i32,
}

payload! {
    /// What restoring an account gave.
    RestoreAccountPayload {
        /// The account as it is now.
        account: Account
    }
}

fn as_read(account_id: &ID, version: i32) -> Result<AccountAsRead> {
    Ok(AccountAsRead {
        account_id: Kind::Account.row("accountId", account_id)?,
        version,
    })
}

/// What the owner does to the chart.
#[derive(Default)]
pub struct AccountsMutation;

#[Object]
impl AccountsMutation {
    /// Adds an account to the chart.
    async fn add_account(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The account.")] input: AddAccountInput,
    ) -> async_graphql::Result<AddAccountPayload> {
        let new = operations::AddAccount {
            code: input.code,
            name: input.name,
            kind: input.kind.into(),
            is_bank: input.is_bank,
        };
        let outcome = operations::add_account(act(ctx)?, new).await;
        AddAccountPayload::of(outcome.map(Account::from))
    }

    /// Renames or renumbers an account, or says whether it is a bank's. Its class and role stay.
    async fn change_account(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What to change.")] input: ChangeAccountInput,
    ) -> async_graphql::Result<ChangeAccountPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let change = operations::ChangeAccount {
                read: as_read(&input.account_id, input.version)?,
                code: input.code,
                name: input.name,
                is_bank: input.is_bank,
            };
            operations::change_account(act, change).await
        };
        ChangeAccountPayload::of(outcome.await.map(Account::from))
    }

    /// Lets an account that stands at zero take no more entries. One that the program posts to by itself stays.
    async fn retire_account(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which account.")] input: RetireAccountInput,
    ) -> async_graphql::Result<RetireAccountPayload> {
        let act = act(ctx)?;
        let outcome = async {
            operations::retire_account(act, as_read(&input.account_id, input.version)?).await
        };
        RetireAccountPayload::of(outcome.await.map(Account::from))
    }

    /// Lets a retired account take entries again.
    async fn restore_account(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which account.")] input: RestoreAccountInput,
    ) -> async_graphql::Result<RestoreAccountPayload> {
        let act = act(ctx)?;
        let outcome = async {
            operations::restore_account(act, as_read(&input.account_id, input.version)?).await
        };
        RestoreAccountPayload::of(outcome.await.map(Account::from))
    }
}
