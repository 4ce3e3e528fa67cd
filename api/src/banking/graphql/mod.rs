//! Banking in the graph. Owner and office see it.

pub mod accounts;
pub mod before;
pub mod deposits;
pub mod layouts;
pub mod lines;
pub mod matching;
pub mod reconciliations;
pub mod refunds;

use async_graphql::Context;

use crate::graphql::context::act;

pub use accounts::{BankAccount, BankAccountsQuery};
pub use before::{BankedBeforeMutation, BankedBeforeQuery};
pub use deposits::{BankDeposit, DepositsMutation, DepositsQuery};
pub use layouts::BankLayoutMutation;
pub use lines::BankLinesQuery;
pub use matching::BankLinesMutation;
pub use reconciliations::{BankReconciliation, ReconciliationsMutation, ReconciliationsQuery};
pub use refunds::RefundsMutation;

/// Whether the caller handles the shop's money: owner and office do.
fn may_read(ctx: &Context<'_>) -> async_graphql::Result<bool> {
    Ok(act(ctx)?.is_desk())
}
