//! Credit, deposits, refunds and payments undone.

use async_graphql::connection::Connection;
use async_graphql::{Context, Enum, ID, InputObject, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{payment_reversal, refund};

use crate::banking::graphql::BankAccount;
use crate::base::Result;
use crate::customers::graphql::Customer;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;
use crate::shop::graphql::Staff;
use crate::{payload, remittances};

use super::super::receiving::{self, credit, deposits, reversing};
use super::super::store;
use super::mutations::AllocationInput;
use super::{Invoice, Payment, PaymentMethod, may_read};

/// Why a payment was undone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::ReversalKind")]
pub enum ReversalKind {
    /// The bank did not honour it.
    Bounced,
    /// The card holder had it charged back.
    ChargedBack,
    /// It was typed by mistake.
    RecordedByMistake,
}

/// Why and when a payment was undone.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct PaymentReversal {
    /// What happened.
    kind: ReversalKind,
    /// In words.
    reason: String,
    /// The day from which it counts no more.
    reversed_on: NaiveDate,
    /// When it was recorded.
    recorded_at: DateTime<Utc>,
    /// What the bank kept for it, beside the payment itself.
    bank_fee: Money,
    #[graphql(skip)]
    row: payment_reversal::Model,
}

impl From<payment_reversal::Model> for PaymentReversal {
    fn from(row: payment_reversal::Model) -> Self {
        Self {
            kind: row.kind.into(),
            reason: row.reason.clone(),
            reversed_on: row.reversed_on,
            recorded_at: row.recorded_at,
            bank_fee: Money::cents(row.bank_fee_cents),
            row,
        }
    }
}

#[async_graphql::ComplexObject]
impl PaymentReversal {
    /// Who recorded it.
    async fn recorded_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.recorded_by).await
    }

    /// The account at a bank that took it back; null for one that was not there yet.
    async fn bank_account(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<BankAccount>> {
        match self.row.bank_account_id {
            Some(id) => BankAccount::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// Credit that was paid back to its customer.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Refund {
    /// Its number, without gaps.
    number: String,
    /// How it was paid.
    method: PaymentMethod,
    /// What was written on it.
    reference: Option<String>,
    /// Day it was paid.
    refunded_on: NaiveDate,
    /// When it was recorded.
    recorded_at: DateTime<Utc>,
    /// How much.
    amount: Money,
    /// The day it was undone; null while it stands.
    reversed_on: Option<NaiveDate>,
    /// Why it was undone.
    reversed_because: Option<String>,
    #[graphql(skip)]
    row: refund::Model,
}

impl From<refund::Model> for Refund {
    fn from(row: refund::Model) -> Self {
        Self {
            number: row.number.clone(),
            method: row.method.into(),
            reference: row.reference.clone(),
            refunded_on: row.refunded_on,
            recorded_at: row.recorded_at,
            amount: Money::cents(row.amount_cents),
            reversed_on: row.reversed_on,
            reversed_because: row.reversed_because.clone(),
            row,
        }
    }
}

impl Refund {
    /// The refund with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !may_read(ctx)? {
            return Ok(None);
        }
        let row = loaders::row::<refund::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }
}

#[async_graphql::ComplexObject]
impl Refund {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Refund.id(self.row.id)
    }

    /// Whose credit it was.
    async fn customer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Customer>> {
        Customer::of(ctx, self.row.customer_id).await
    }

    /// Who recorded it.
    async fn recorded_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.recorded_by).await
    }

    /// The account at a bank that it was paid from; null for refunds of before there was a choice.
    async fn bank_account(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<BankAccount>> {
        match self.row.bank_account_id {
            Some(id) => BankAccount::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// Money received for a call before it is billed.
#[derive(InputObject)]
pub struct RecordDepositInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The call; its accepted estimate may ask for a deposit, and its invoice takes it first.
    call_id: ID,
    /// Who paid it; the call's customer when left out. Where several payers share the call, the payer's own invoice takes
    /// it.
    customer_id: Option<ID>,
    /// How it arrived.
    method: PaymentMethod,
    /// What the payer or bank wrote on it, such as a check number.
    reference: Option<String>,
    /// Day it was received.
    received_on: NaiveDate,
    /// How much.
    amount: Money,
}

impl RecordDepositInput {
    fn command(self) -> Result<deposits::RecordDeposit> {
        Ok(deposits::RecordDeposit {
            idempotency_key: self.idempotency_key,
            call_id: Kind::ServiceCall.row("callId", &self.call_id)?,
            customer_id: Kind::Customer.row_if_any("customerId", self.customer_id.as_ref())?,
            method: self.method.into(),
            reference: self.reference,
            received_on: self.received_on,
            amount: self.amount.0,
        })
    }
}

payload! {
    /// What recording a deposit gave.
    RecordDepositPayload {
        /// The deposit as recorded.
        payment: Payment
    }
}

/// What is left of a payment, to be laid against invoices.
#[derive(InputObject)]
pub struct AllocatePaymentInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The payment.
    payment_id: ID,
    /// What it settles.
    allocations: Vec<AllocationInput>,
}

impl AllocatePaymentInput {
    fn command(self) -> Result<credit::AllocatePayment> {
        Ok(credit::AllocatePayment {
            idempotency_key: self.idempotency_key,
            payment_id: Kind::Payment.row("paymentId", &self.payment_id)?,
            parts: AllocationInput::parts(self.allocations)?,
        })
    }
}

payload! {
    /// What laying a payment against invoices gave.
    AllocatePaymentPayload {
        /// The payment as it is now.
        payment: Payment
    }
}

/// Credit to lay against an invoice.
#[derive(InputObject)]
pub struct ApplyCreditInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// Whose credit.
    customer_id: ID,
    /// The invoice.
    invoice_id: ID,
    /// How much of it.
    amount: Money,
}

impl ApplyCreditInput {
    fn command(self) -> Result<credit::ApplyCredit> {
        Ok(credit::ApplyCredit {
            idempotency_key: self.idempotency_key,
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            invoice_id: Kind::Invoice.row("invoiceId", &self.invoice_id)?,
            amount: self.amount.0,
        })
    }
}

payload! {
    /// What laying credit against an invoice gave.
    ApplyCreditPayload {
        /// The invoice.
        invoice: Invoice
    }
}

/// Credit to pay back.
#[derive(InputObject)]
pub struct RefundCreditInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// Whose credit.
    customer_id: ID,
    /// How much of it.
    amount: Money,
    /// How it is paid.
    method: PaymentMethod,
    /// What is written on it, such as a check number.
    reference: Option<String>,
    /// Day it is paid, from the bank.
    refunded_on: NaiveDate,
    /// The account at a bank that it is paid from; the usual one when left out.
    bank_account_id: Option<ID>,
}

impl RefundCreditInput {
    fn command(self) -> Result<credit::RefundCredit> {
        Ok(credit::RefundCredit {
            idempotency_key: self.idempotency_key,
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            amount: self.amount.0,
            method: self.method.into(),
            reference: self.reference,
            refunded_on: self.refunded_on,
            bank_account_id: Kind::Account
                .row_if_any("bankAccountId", self.bank_account_id.as_ref())?,
        })
    }
}

payload! {
    /// What paying credit back gave.
    RefundCreditPayload {
        /// The refund as recorded.
        refund: Refund
    }
}

/// A payment to undo.
#[derive(InputObject)]
pub struct ReversePaymentInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The payment.
    payment_id: ID,
    /// What happened.
    kind: ReversalKind,
    /// In words.
    reason: String,
    /// The day from which it counts no more.
    reversed_on: NaiveDate,
    /// Whether the customer is charged the shop's fee for a returned payment.
    #[graphql(default = false)]
    charge_fee: bool,
    /// What the bank kept for it, beside the payment itself; only of one that was taken to a bank.
    bank_fee: Option<Money>,
}

impl ReversePaymentInput {
    fn command(self) -> Result<reversing::ReversePayment> {
        Ok(reversing::ReversePayment {
            idempotency_key: self.idempotency_key,
            payment_id: Kind::Payment.row("paymentId", &self.payment_id)?,
            kind: self.kind.into(),
            reason: self.reason,
            reversed_on: self.reversed_on,
            charge_fee: self.charge_fee,
            bank_fee: self.bank_fee.map(|fee| fee.0),
        })
    }
}

payload! {
    /// What undoing a payment gave.
    ReversePaymentPayload {
        /// The payment, undone.
        payment: Payment
    }
}

impl AllocationInput {
    /// What is to be settled, as the operations want it.
    pub(super) fn parts(given: Vec<Self>) -> Result<Vec<receiving::PaymentPart>> {
        let part = |(at, part): (usize, Self)| -> Result<receiving::PaymentPart> {
            let path = format!("allocations.{at}.invoiceId");
            Ok(receiving::PaymentPart {
                invoice_id: Kind::Invoice.row(&path, &part.invoice_id)?,
                amount: part.amount.0,
            })
        };
        given.into_iter().enumerate().map(part).collect()
    }
}

/// Refunds.
#[derive(Default)]
pub struct ReceivingQuery;

#[Object]
impl ReceivingQuery {
    /// Refunds, newest first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn refunds(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only this customer's.")] customer_id: Option<ID>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Refund>> {
        let customer = Kind::Customer
            .row_if_any("customerId", customer_id.as_ref())
            .map_err(edge)?;
        connection::newest_first(
            reader(ctx)?,
            store::refunds(customer),
            refund::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, Refund::from),
        )
        .await
    }
}

/// Credit, deposits, refunds and payments undone.
#[derive(Default)]
pub struct ReceivingMutation;

#[Object]
impl ReceivingMutation {
    /// Records a deposit for a call whose estimate was accepted; the call's invoice takes it first.
    async fn record_deposit(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The deposit.")] input: RecordDepositInput,
    ) -> async_graphql::Result<RecordDepositPayload> {
        let act = act(ctx)?;
        let outcome = async { deposits::record_deposit(act, input.command()?).await }.await;
        RecordDepositPayload::of(outcome.map(Payment::from))
    }

    /// Lays what is left of a payment against invoices of its customer, as of today.
    async fn allocate_payment(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The payment and what it settles.")] input: AllocatePaymentInput,
    ) -> async_graphql::Result<AllocatePaymentPayload> {
        let act = act(ctx)?;
        let outcome = async { remittances::allocate_payment(act, input.command()?).await }.await;
        AllocatePaymentPayload::of(outcome.map(Payment::from))
    }

    /// Lays a customer's credit against an invoice, as of today.
    async fn apply_credit(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The invoice and how much.")] input: ApplyCreditInput,
    ) -> async_graphql::Result<ApplyCreditPayload> {
        let act = act(ctx)?;
        let outcome = async { remittances::apply_credit(act, input.command()?).await }.await;
        ApplyCreditPayload::of(outcome.map(Invoice::from))
    }

    /// Pays a customer's credit back from the bank.
    async fn refund_credit(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The credit.")] input: RefundCreditInput,
    ) -> async_graphql::Result<RefundCreditPayload> {
        let act = act(ctx)?;
        let outcome = async { credit::refund_credit(act, input.command()?).await }.await;
        RefundCreditPayload::of(outcome.map(Refund::from))
    }

    /// Undoes a payment: what it settled is open again.
    async fn reverse_payment(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The payment.")] input: ReversePaymentInput,
    ) -> async_graphql::Result<ReversePaymentPayload> {
        let act = act(ctx)?;
        let outcome = async { reversing::reverse_payment(act, input.command()?).await }.await;
        ReversePaymentPayload::of(outcome.map(Payment::from))
    }
}
