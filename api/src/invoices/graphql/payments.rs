//! Payments and what they settle.

use async_graphql::{ComplexObject, Context, Enum, ID, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{allocation, bank_deposit_line, payment, payment_reversal};

use crate::banking::graphql::{BankAccount, BankDeposit};
use crate::calls::graphql::ServiceCall;
use crate::customers::graphql::Customer;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;
use crate::shop::graphql::Staff;

use super::{Invoice, PaymentReversal, WriteOff, may_read};

/// How money arrived.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::PaymentMethod")]
pub enum PaymentMethod {
    /// Notes and coins.
    Cash,
    /// A check.
    Check,
    /// A card.
    Card,
    /// A bank transfer.
    Transfer,
}

/// Money received from a customer.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Payment {
    /// Its number, without gaps.
    number: String,
    /// How it arrived.
    method: PaymentMethod,
    /// What the payer or bank wrote on it.
    reference: Option<String>,
    /// Day it was received.
    received_on: NaiveDate,
    /// When it was recorded.
    recorded_at: DateTime<Utc>,
    /// How much.
    amount: Money,
    /// What settles no invoice: the customer's credit.
    unallocated: Money,
    /// What of that waits for the claims that rows of a payer's advice are about: neither laid by itself nor paid back.
    held: Money,
    /// The day it was undone; null while it stands.
    reversed_on: Option<NaiveDate>,
    /// The day it was taken to a bank; null while it waits.
    banked_on: Option<NaiveDate>,
    /// Whether it was marked as one that an entry by hand took there, before there were deposits.
    is_banked_before: bool,
    #[graphql(skip)]
    row: payment::Model,
}

impl From<payment::Model> for Payment {
    fn from(row: payment::Model) -> Self {
        Self {
            number: row.number.clone(),
            method: row.method.into(),
            reference: row.reference.clone(),
            received_on: row.received_on,
            recorded_at: row.recorded_at,
            amount: Money::cents(row.amount_cents),
            unallocated: Money::cents(row.unallocated_cents),
            held: Money::cents(row.held_cents),
            reversed_on: row.reversed_on,
            banked_on: row.banked_on,
            is_banked_before: row.banked_before_at.is_some(),
            row,
        }
    }
}

impl Payment {
    /// The payment behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<payment::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The payment with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if may_read(ctx)? {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }
}

#[ComplexObject]
impl Payment {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Payment.id(self.row.id)
    }

    /// Where its receipt lies as PDF, for a request with the same token.
    async fn pdf_path(&self) -> String {
        let id = Kind::Payment.id(self.row.id);
        format!("/documents/{}.pdf", id.as_str())
    }

    /// Who paid.
    async fn customer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Customer>> {
        Customer::of(ctx, self.row.customer_id).await
    }

    /// Who recorded it.
    async fn recorded_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.recorded_by).await
    }

    /// The call it is a deposit for; null for other payments.
    async fn deposit_for(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        match self.row.deposit_call_id {
            Some(id) => ServiceCall::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The account at a bank that it was taken to; null while it waits.
    async fn bank_account(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<BankAccount>> {
        match self.row.bank_account_id {
            Some(id) => BankAccount::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The deposit that took it there; null while it waits, and where an entry by hand did.
    async fn bank_deposit(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<BankDeposit>> {
        let column = bank_deposit_line::Column::StandingPaymentId;
        let rows = loaders::children::<bank_deposit_line::Entity>(ctx, column, self.row.id).await?;
        match rows.first() {
            Some(line) => BankDeposit::of(ctx, line.deposit_id).await,
            None => Ok(None),
        }
    }

    /// Why it was undone; null while it stands.
    async fn reversal(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<PaymentReversal>> {
        let column = payment_reversal::Column::PaymentId;
        let rows = loaders::children::<payment_reversal::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().next().map(PaymentReversal::from))
    }

    /// What it settled, and what of that was undone.
    async fn allocations(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Allocation>> {
        let column = allocation::Column::PaymentId;
        let rows = loaders::children::<allocation::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(Allocation::from).collect())
    }
}

/// What part of a payment, credit note or write-off settles which invoice, or was moved from it to another.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Allocation {
    /// How much; below zero where it undoes another.
    amount: Money,
    /// The day it counts from.
    applied_on: NaiveDate,
    /// Whether it undoes another.
    undoes: bool,
    /// When it was laid against the invoice.
    allocated_at: DateTime<Utc>,
    #[graphql(skip)]
    row: allocation::Model,
}

impl From<allocation::Model> for Allocation {
    fn from(row: allocation::Model) -> Self {
        Self {
            amount: Money::cents(row.amount_cents),
            applied_on: row.applied_on,
            undoes: row.undoes_allocation_id.is_some(),
            allocated_at: row.allocated_at,
            row,
        }
    }
}

#[ComplexObject]
impl Allocation {
    /// The invoice that is settled.
    async fn invoice(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Invoice>> {
        Invoice::of(ctx, self.row.invoice_id).await
    }

    /// The payment that settles it; null if something else does.
    async fn payment(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Payment>> {
        match self.row.payment_id {
            Some(id) => Payment::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The credit note that settles it; null if something else does.
    async fn credit_note(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Invoice>> {
        match self.row.credit_note_id {
            Some(id) => Invoice::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The invoice that asks the call's customer for it instead of the warranty payer; null if something else settles it.
    async fn moved_to(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Invoice>> {
        match self.row.moved_to_invoice_id {
            Some(id) => Invoice::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The write-off that settles it; null if something else does.
    async fn write_off(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<WriteOff>> {
        match self.row.write_off_id {
            Some(id) => WriteOff::of(ctx, id).await,
            None => Ok(None),
        }
    }
}
