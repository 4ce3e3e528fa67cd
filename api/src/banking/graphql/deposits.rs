//! Receipts that wait, and the deposits that take them to a bank.

use async_graphql::connection::Connection;
use async_graphql::{ComplexObject, Context, ID, InputObject, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{bank_deposit, bank_deposit_line, payment};

use crate::base::Result;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;
use crate::invoices::graphql::{Payment, PaymentMethod};
use crate::payload;
use crate::shop::graphql::Staff;

use super::super::operations::deposits as operations;
use super::super::store;
use super::{BankAccount, may_read};

/// Receipts that went to a bank together.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct BankDeposit {
    /// Its number, without gaps.
    number: String,
    /// The day it went there.
    deposited_on: NaiveDate,
    /// What stands on the slip.
    reference: Option<String>,
    /// What was received.
    receipts: Money,
    /// What a card company kept of it.
    card_fees: Money,
    /// When it was recorded.
    recorded_at: DateTime<Utc>,
    /// The day from which it counts no more; null while it stands.
    undone_on: Option<NaiveDate>,
    /// Why it was undone; null while it stands.
    undone_because: Option<String>,
    #[graphql(skip)]
    row: bank_deposit::Model,
}

impl From<bank_deposit::Model> for BankDeposit {
    fn from(row: bank_deposit::Model) -> Self {
        Self {
            number: row.number.clone(),
            deposited_on: row.deposited_on,
            reference: row.reference.clone(),
            receipts: Money::cents(row.receipts_cents),
            card_fees: Money::cents(row.fee_cents),
            recorded_at: row.recorded_at,
            undone_on: row.undone_on,
            undone_because: row.undone_because.clone(),
            row,
        }
    }
}

impl BankDeposit {
    /// The deposit behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<bank_deposit::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }

    /// The deposit with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if may_read(ctx)? {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }
}

#[ComplexObject]
impl BankDeposit {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::BankDeposit.id(self.row.id)
    }

    /// The account it went to.
    async fn account(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<BankAccount>> {
        BankAccount::of(ctx, self.row.account_id).await
    }

    /// What arrives at the bank: the receipts less what a card company kept.
    async fn arrives(&self) -> Money {
        Money::cents(self.row.receipts_cents - self.row.fee_cents)
    }

    /// Its payments, 200 at most.
    #[graphql(complexity = "10 + 10 * child_complexity")]
    async fn lines(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<BankDepositLine>> {
        let column = bank_deposit_line::Column::DepositId;
        let rows = loaders::children::<bank_deposit_line::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(BankDepositLine::from).collect())
    }

    /// Who recorded it.
    async fn recorded_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.recorded_by).await
    }

    /// Who undid it; null while it stands.
    async fn undone_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.row.undone_by {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// One payment of a deposit.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct BankDepositLine {
    /// What was received.
    amount: Money,
    /// What the card company kept of it.
    card_fee: Money,
    #[graphql(skip)]
    row: bank_deposit_line::Model,
}

impl From<bank_deposit_line::Model> for BankDepositLine {
    fn from(row: bank_deposit_line::Model) -> Self {
        Self {
            amount: Money::cents(row.amount_cents),
            card_fee: Money::cents(row.fee_cents),
            row,
        }
    }
}

#[ComplexObject]
impl BankDepositLine {
    /// The payment.
    async fn payment(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Payment>> {
        Payment::of(ctx, self.row.payment_id).await
    }
}

/// A payment that goes to the bank.
#[derive(InputObject)]
pub struct BankedPaymentInput {
    /// The payment; it waits.
    payment_id: ID,
    /// What the card company keeps of it.
    card_fee: Option<Money>,
}

/// Receipts to take to a bank.
#[derive(InputObject)]
pub struct BankReceiptsInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The account at a bank; the usual one when left out.
    bank_account_id: Option<ID>,
    /// The day they go there.
    deposited_on: NaiveDate,
    /// What stands on the slip.
    reference: Option<String>,
    /// The payments, 1 to 200.
    payments: Vec<BankedPaymentInput>,
    /// What the card company keeps of all cards together, where it is not given payment by payment.
    card_fee: Option<Money>,
}

impl BankReceiptsInput {
    fn command(self) -> Result<operations::BankReceipts> {
        let part = |(at, part): (usize, BankedPaymentInput)| -> Result<_> {
            let path = format!("payments.{at}.paymentId");
            Ok(operations::BankedPayment {
                payment_id: Kind::Payment.row(&path, &part.payment_id)?,
                card_fee: part.card_fee.map(|fee| fee.0),
            })
        };
        Ok(operations::BankReceipts {
            idempotency_key: self.idempotency_key,
            account_id: Kind::Account.row_if_any("bankAccountId", self.bank_account_id.as_ref())?,
            deposited_on: self.deposited_on,
            reference: self.reference,
            payments: self
                .payments
                .into_iter()
                .enumerate()
                .map(part)
                .collect::<Result<_>>()?,
            card_fee: self.card_fee.map(|fee| fee.0),
        })
    }
}

payload! {
    /// What taking receipts to the bank gave.
    BankReceiptsPayload {
        /// The deposit as recorded.
        deposit: BankDeposit
    }
}

/// A deposit to undo.
#[derive(InputObject)]
pub struct UndoDepositInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The deposit.
    deposit_id: ID,
    /// Why.
    reason: String,
    /// The day from which it counts no more.
    undone_on: NaiveDate,
}

payload! {
    /// What undoing a deposit gave.
    UndoDepositPayload {
        /// The deposit, undone.
        deposit: BankDeposit
    }
}

/// Receipts and deposits.
#[derive(Default)]
pub struct DepositsQuery;

#[Object]
impl DepositsQuery {
    /// Payments that wait to be taken to a bank, newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn receipts_to_bank(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those that came like this.")] method: Option<PaymentMethod>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Payment>> {
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let select = store::deposits::waiting(method.map(Into::into));
        let (db, id) = (reader(ctx)?, payment::Column::Id);
        connection::newest_first(db, select, id, page, (|row| row.id, Payment::from)).await
    }

    /// Deposits at banks, newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn bank_deposits(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those of this account.")] bank_account_id: Option<ID>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, BankDeposit>> {
        let account = Kind::Account
            .row_if_any("bankAccountId", bank_account_id.as_ref())
            .map_err(edge)?;
        let page = Page {
            first,
            after,
            last,
            before,
        };
        let select = store::deposits::deposits(account);
        let (db, id) = (reader(ctx)?, bank_deposit::Column::Id);
        connection::newest_first(db, select, id, page, (|row| row.id, BankDeposit::from)).await
    }
}

/// Taking receipts to a bank.
#[derive(Default)]
pub struct DepositsMutation;

#[Object]
impl DepositsMutation {
    /// Takes payments that wait to an account at a bank, as one numbered deposit, less what the card company keeps.
    async fn bank_receipts(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The receipts.")] input: BankReceiptsInput,
    ) -> async_graphql::Result<BankReceiptsPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::bank_receipts(act, input.command()?).await }.await;
        BankReceiptsPayload::of(outcome.map(BankDeposit::from))
    }

    /// Undoes a deposit that no statement of the bank shows: its payments wait again.
    async fn undo_deposit(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The deposit.")] input: UndoDepositInput,
    ) -> async_graphql::Result<UndoDepositPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let order = operations::UndoDeposit {
                idempotency_key: input.idempotency_key,
                deposit_id: Kind::BankDeposit.row("depositId", &input.deposit_id)?,
                reason: input.reason,
                undone_on: input.undone_on,
            };
            operations::undo_deposit(act, order).await
        };
        UndoDepositPayload::of(outcome.await.map(BankDeposit::from))
    }
}
