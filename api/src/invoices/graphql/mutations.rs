//! Billing, taking back, and recording money received.

use async_graphql::{Context, ID, InputObject, Object};
use chrono::NaiveDate;

use crate::base::Result;
use crate::estimates::WorkDone;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::payload;

use super::super::{operations, payments};
use super::{Invoice, Payment, PaymentMethod};

/// A call to bill.
#[derive(InputObject)]
pub struct IssueInvoiceInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The call; its accepted estimate is billed line for line.
    call_id: ID,
    /// What was done, where that is not what was accepted. Draft it as the next revision; a bill beyond what the
    /// customer agreed to needs a recorded consent.
    work_done: Option<WorkDoneInput>,
}

/// The drafted option that says what was done.
#[derive(InputObject)]
pub struct WorkDoneInput {
    /// The estimate's latest revision, still a draft. It is closed with the bill.
    revision_id: ID,
    /// Its option that is billed.
    option_id: ID,
}

impl WorkDoneInput {
    fn command(self) -> Result<WorkDone> {
        Ok(WorkDone {
            revision_id: Kind::EstimateRevision.row("workDone.revisionId", &self.revision_id)?,
            option_id: Kind::EstimateOption.row("workDone.optionId", &self.option_id)?,
        })
    }
}

impl IssueInvoiceInput {
    fn command(self) -> Result<operations::IssueInvoice> {
        Ok(operations::IssueInvoice {
            idempotency_key: self.idempotency_key,
            call_id: Kind::ServiceCall.row("callId", &self.call_id)?,
            work_done: self.work_done.map(WorkDoneInput::command).transpose()?,
        })
    }
}

payload! {
    /// What billing gave.
    IssueInvoicePayload {
        /// The invoice as issued.
        invoice: Invoice
    }
}

/// An invoice to take back.
#[derive(InputObject)]
pub struct CreditInvoiceInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The invoice.
    invoice_id: ID,
    /// Why; printed on the credit note.
    reason: String,
}

impl CreditInvoiceInput {
    fn command(self) -> Result<operations::CreditInvoice> {
        Ok(operations::CreditInvoice {
            idempotency_key: self.idempotency_key,
            invoice_id: Kind::Invoice.row("invoiceId", &self.invoice_id)?,
            reason: self.reason,
        })
    }
}

payload! {
    /// What taking an invoice back gave.
    CreditInvoicePayload {
        /// The credit note as issued.
        credit_note: Invoice
    }
}

/// What part of a payment settles which invoice.
#[derive(InputObject)]
pub struct AllocationInput {
    /// The invoice.
    invoice_id: ID,
    /// How much of the payment.
    amount: Money,
}

/// Money received from a customer.
#[derive(InputObject)]
pub struct RecordPaymentInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// Who paid.
    customer_id: ID,
    /// How it arrived.
    method: PaymentMethod,
    /// What the payer or bank wrote on it, such as a check number.
    reference: Option<String>,
    /// Day it was received.
    received_on: NaiveDate,
    /// How much.
    amount: Money,
    /// What it settles; oldest due first when left out.
    allocations: Option<Vec<AllocationInput>>,
    /// Whether what settles nothing becomes the customer's credit; otherwise it is refused.
    #[graphql(default = false)]
    allow_credit: bool,
}

impl RecordPaymentInput {
    fn command(self) -> Result<payments::RecordPayment> {
        let part = |(at, part): (usize, AllocationInput)| -> Result<payments::PaymentPart> {
            let path = format!("allocations.{at}.invoiceId");
            Ok(payments::PaymentPart {
                invoice_id: Kind::Invoice.row(&path, &part.invoice_id)?,
                amount: part.amount.0,
            })
        };
        let parts = self.allocations.map(|parts| {
            parts
                .into_iter()
                .enumerate()
                .map(part)
                .collect::<Result<_>>()
        });
        Ok(payments::RecordPayment {
            idempotency_key: self.idempotency_key,
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            method: self.method.into(),
            reference: self.reference,
            received_on: self.received_on,
            amount: self.amount.0,
            parts: parts.transpose()?,
            excess: if self.allow_credit {
                payments::Excess::BecomesCredit
            } else {
                payments::Excess::Refused
            },
        })
    }
}

payload! {
    /// What recording a payment gave.
    RecordPaymentPayload {
        /// The payment as recorded.
        payment: Payment
    }
}

/// Billing, taking back, and recording money received.
#[derive(Default)]
pub struct InvoicesMutation;

#[Object]
impl InvoicesMutation {
    /// Bills a call's accepted estimate and mails the invoice, if the customer has an e-mail address.
    async fn issue_invoice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The call.")] input: IssueInvoiceInput,
    ) -> async_graphql::Result<IssueInvoicePayload> {
        let act = act(ctx)?;
        let outcome = async { operations::issue_invoice(act, input.command()?).await }.await;
        IssueInvoicePayload::of(outcome.map(Invoice::from))
    }

    /// Takes a whole invoice back: what is open is settled, what was paid becomes the customer's credit.
    async fn credit_invoice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The invoice.")] input: CreditInvoiceInput,
    ) -> async_graphql::Result<CreditInvoicePayload> {
        let act = act(ctx)?;
        let outcome = async { operations::credit_invoice(act, input.command()?).await }.await;
        CreditInvoicePayload::of(outcome.map(Invoice::from))
    }

    /// Records money received and what it settles.
    async fn record_payment(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The payment.")] input: RecordPaymentInput,
    ) -> async_graphql::Result<RecordPaymentPayload> {
        let act = act(ctx)?;
        let outcome = async { payments::record_payment(act, input.command()?).await }.await;
        RecordPaymentPayload::of(outcome.map(Payment::from))
    }
}
