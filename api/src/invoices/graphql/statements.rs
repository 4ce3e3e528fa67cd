//! Statements of account.

use async_graphql::{ComplexObject, Context, Enum, ID, InputObject, Object, SimpleObject};
use chrono::NaiveDate;

use crate::base::Result;
use crate::customers::graphql::Customer;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::jobs::graphql::Mail;
use crate::payload;

use super::super::telling::statement;

/// What happened on a customer's account.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "crate::invoices::telling::statement::Kind")]
pub enum StatementLineKind {
    /// An invoice was issued.
    Invoice,
    /// A credit note was issued.
    CreditNote,
    /// Money was received.
    Payment,
    /// A payment came back or was undone.
    PaymentUndone,
    /// Credit was paid back.
    Refund,
    /// An open amount was written off.
    WriteOff,
    /// Money came in on what was written off.
    WriteOffUndone,
    /// A refund was undone; what it paid back is credit again.
    RefundUndone,
    /// Money or credit was laid against what is owed as a warranty payer, which is not on the statement.
    ClaimsPaid,
}

/// One thing that happened, and what was owed after it.
#[derive(SimpleObject)]
pub struct StatementLine {
    /// Its day.
    on: NaiveDate,
    /// What it was.
    kind: StatementLineKind,
    /// Number of its document.
    number: String,
    /// What it adds to what is owed; below zero where it takes off.
    amount: Money,
    /// What is owed after it; below zero for credit.
    balance: Money,
}

/// A customer's account over some days.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct AccountStatement {
    /// First day.
    from: NaiveDate,
    /// Last day.
    until: NaiveDate,
    /// What was owed before the first day; below zero for credit.
    opening: Money,
    /// What happened, oldest first.
    lines: Vec<StatementLine>,
    /// What is owed at the end of the last day, less the customer's credit.
    closing: Money,
    #[graphql(skip)]
    customer_id: i64,
}

#[ComplexObject]
impl AccountStatement {
    /// Whose account it is.
    async fn customer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Customer>> {
        Customer::of(ctx, self.customer_id).await
    }
}

impl From<statement::Account> for AccountStatement {
    fn from(account: statement::Account) -> Self {
        let lines = account.lines.into_iter().map(|line| StatementLine {
            on: line.on,
            kind: line.kind.into(),
            number: line.number,
            amount: line.amount.into(),
            balance: line.balance.into(),
        });
        Self {
            from: account.from,
            until: account.until,
            opening: account.opening.into(),
            lines: lines.collect(),
            closing: account.closing.into(),
            customer_id: account.customer.id,
        }
    }
}

/// A statement to mail.
#[derive(InputObject)]
pub struct SendStatementInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// Whose account.
    customer_id: ID,
    /// First day.
    from: NaiveDate,
    /// Last day, not one to come.
    until: NaiveDate,
    /// Where to; the customer's own address when left out.
    to: Option<String>,
}

impl SendStatementInput {
    fn command(self) -> Result<statement::SendStatement> {
        Ok(statement::SendStatement {
            idempotency_key: self.idempotency_key,
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            from: self.from,
            until: self.until,
            to: self.to,
        })
    }
}

payload! {
    /// What sending a statement gave.
    SendStatementPayload {
        /// The mail that was asked for.
        mail: Mail
    }
}

/// Statements of account.
#[derive(Default)]
pub struct AccountStatementsQuery;

#[Object]
impl AccountStatementsQuery {
    /// A customer's account from one day through another, at most 366 days and 1,000 lines.
    #[graphql(complexity = "50 + 20 * child_complexity")]
    async fn statement(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The customer.")] customer_id: ID,
        #[graphql(desc = "First day.")] from: NaiveDate,
        #[graphql(desc = "Last day.")] until: NaiveDate,
    ) -> async_graphql::Result<AccountStatement> {
        let customer = Kind::Customer
            .row("customerId", &customer_id)
            .map_err(edge)?;
        let account = statement::account(reader(ctx)?, customer, (from, until)).await;
        account.map(Into::into).map_err(edge)
    }
}

/// Statements of account.
#[derive(Default)]
pub struct AccountStatementsMutation;

#[Object]
impl AccountStatementsMutation {
    /// Mails a statement of account with its PDF.
    async fn send_statement(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Whose, and which days.")] input: SendStatementInput,
    ) -> async_graphql::Result<SendStatementPayload> {
        let act = act(ctx)?;
        let outcome = async { statement::send_statement(act, input.command()?).await }.await;
        SendStatementPayload::of(outcome.map(Mail::from))
    }
}
