//! Banking in the graph. Owner and office see it.

pub mod accounts;
pub mod deposits;

use async_graphql::Context;

use crate::graphql::context::act;

pub use accounts::BankAccount;
pub use deposits::{BankDeposit, DepositsMutation, DepositsQuery};

/// Whether the caller handles the shop's money: owner and office do.
fn may_read(ctx: &Context<'_>) -> async_graphql::Result<bool> {
    Ok(act(ctx)?.is_desk())
}
