//! Billing, taking back, and recording money received.

use async_graphql::{Context, ID, InputObject, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::invoice;

use crate::base::{Error, Result};
use crate::closeout;
use crate::estimates::WorkDone;
use crate::estimates::graphql::mutations::EstimateOptionInput;
use crate::graphql::context::act;
use crate::graphql::error::{Problem, edge};
use crate::graphql::ids::Kind;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::jobs::graphql::Mail;
use crate::{payload, remittances};

use super::super::dated::Dated;
use super::super::issuing::{dividing, free, rebilling};
use super::super::telling::resending;
use super::super::{crediting, issuing, receiving};
use super::covering::BillByCoverageInput;
use super::{Invoice, Payment, PaymentMethod};

/// A call to bill.
#[derive(InputObject)]
pub struct IssueInvoiceInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The call; its accepted estimate is billed line for line. One without an accepted estimate takes `option`.
    call_id: ID,
    /// What was done, where that is not what was accepted. Draft it as the next revision; a bill beyond what the
    /// customer agreed to needs a recorded consent.
    work_done: Option<WorkDoneInput>,
    /// For a completed call that nothing was accepted for: the lines of what was done, priced and taxed as in an estimate
    /// of today; no deposit. `workToBill` proposes them. The place's rules may want the customer's consent on record first.
    option: Option<EstimateOptionInput>,
    /// Payers beside the call's customer, each with an invoice of its own.
    divide: Option<Vec<PayerShareInput>>,
    /// Bills the call as was decided who pays: an invoice for each payer and programme, the rest to the call's customer,
    /// what the shop bears to nobody. Not with `divide`.
    coverage: Option<BillByCoverageInput>,
    /// The day of the invoice: not to come, and not before the call was completed, or opened; today when left out.
    issued_on: Option<NaiveDate>,
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
    fn command(self) -> Result<Dated<issuing::IssueInvoice>> {
        let order = issuing::IssueInvoice {
            idempotency_key: self.idempotency_key,
            call_id: Kind::ServiceCall.row("callId", &self.call_id)?,
            work_done: self.work_done.map(WorkDoneInput::command).transpose()?,
            option: self
                .option
                .map(|option| option.command("option"))
                .transpose()?,
            divide: self
                .divide
                .unwrap_or_default()
                .into_iter()
                .enumerate()
                .map(|(at, share)| share.command(at))
                .collect::<Result<_>>()?,
            coverage: self
                .coverage
                .map(BillByCoverageInput::command)
                .transpose()?,
        };
        Ok(Dated {
            order,
            on: self.issued_on,
        })
    }
}

/// What billing gave.
#[derive(SimpleObject)]
pub struct IssueInvoicePayload {
    /// The invoice as issued; of several, that of the call's customer, or else the first.
    ///
    /// Null when the mutation was refused.
    invoice: Option<Invoice>,
    /// One for each payer, that of the call's customer first; empty when it was refused.
    invoices: Vec<Invoice>,
    /// What to mend; empty when it was done.
    problems: Vec<Problem>,
}

impl IssueInvoicePayload {
    /// Refusals become problems; everything else goes to `errors`.
    fn of(outcome: Result<Vec<invoice::Model>>) -> async_graphql::Result<Self> {
        match outcome {
            Ok(rows) => Ok(Self {
                invoice: rows.first().cloned().map(Invoice::from),
                invoices: rows.into_iter().map(Invoice::from).collect(),
                problems: Vec::new(),
            }),
            Err(Error::Refused(problems)) => Ok(Self {
                invoice: None,
                invoices: Vec::new(),
                problems: problems.into_iter().map(Into::into).collect(),
            }),
            Err(error) => Err(edge(error)),
        }
    }
}

/// A payer beside the call's customer, and what falls to it. The call's customer takes the rest.
#[derive(InputObject)]
pub struct PayerShareInput {
    /// Who pays, such as the landlord.
    customer_id: ID,
    /// So much of a hundred of every line; without it, name lines.
    percent: Option<ExactDecimal>,
    /// The lines of which something falls to this payer.
    lines: Option<Vec<PayerLineInput>>,
}

/// What falls to a payer of one line; all of it without a percentage and an amount.
#[derive(InputObject)]
pub struct PayerLineInput {
    /// Its place among the lines as billed, from 1.
    position: i32,
    /// So much of a hundred of it.
    percent: Option<ExactDecimal>,
    /// So much of its price after discount, before tax; the tax on it comes with it.
    amount: Option<Money>,
}

impl PayerShareInput {
    fn command(self, at: usize) -> Result<dividing::Share> {
        let path = format!("divide.{at}.customerId");
        let line = |line: PayerLineInput| dividing::ShareOfLine {
            position: line.position,
            percent: line.percent.map(|percent| percent.0),
            amount: line.amount.map(|amount| amount.0),
        };
        Ok(dividing::Share {
            customer_id: Kind::Customer.row(&path, &self.customer_id)?,
            percent: self.percent.map(|percent| percent.0),
            lines: self
                .lines
                .unwrap_or_default()
                .into_iter()
                .map(line)
                .collect(),
        })
    }
}

/// A payer's share of a call to bill to somebody else.
#[derive(InputObject)]
pub struct RebillInvoiceInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The invoice of the share. It was taken back in whole, and other shares of its call stand.
    invoice_id: ID,
    /// Who owes the share now.
    customer_id: ID,
}

impl RebillInvoiceInput {
    fn command(self) -> Result<rebilling::RebillInvoice> {
        Ok(rebilling::RebillInvoice {
            idempotency_key: self.idempotency_key,
            invoice_id: Kind::Invoice.row("invoiceId", &self.invoice_id)?,
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
        })
    }
}

payload! {
    /// What billing a share to somebody else gave.
    RebillInvoicePayload {
        /// The invoice as issued.
        invoice: Invoice
    }
}

/// Work to bill without a call.
#[derive(InputObject)]
pub struct IssueFreeInvoiceInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// Who owes it.
    customer_id: ID,
    /// Where the work was done or the goods went; it decides the taxes.
    service_address_id: ID,
    /// What it is for, as the customer reads it.
    about: String,
    /// The lines, priced and taxed as in an estimate; no deposit. Where its place wants work agreed to first, labour, trip
    /// and diagnosis are billed with a call only.
    option: EstimateOptionInput,
    /// The day of the invoice, which decides prices and taxes: not to come; today when left out.
    issued_on: Option<NaiveDate>,
}

impl IssueFreeInvoiceInput {
    fn command(self) -> Result<Dated<free::IssueFreeInvoice>> {
        let address = &self.service_address_id;
        let order = free::IssueFreeInvoice {
            idempotency_key: self.idempotency_key,
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            service_address_id: Kind::ServiceAddress.row("serviceAddressId", address)?,
            about: self.about,
            option: self.option.command("option")?,
        };
        Ok(Dated {
            order,
            on: self.issued_on,
        })
    }
}

payload! {
    /// What billing without a call gave.
    IssueFreeInvoicePayload {
        /// The invoice as issued.
        invoice: Invoice
    }
}

/// A document to send again.
#[derive(InputObject)]
pub struct ResendDocumentInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The invoice or credit note.
    invoice_id: ID,
    /// Where to; the customer's own address when left out.
    to: Option<String>,
}

impl ResendDocumentInput {
    fn command(self) -> Result<resending::ResendDocument> {
        Ok(resending::ResendDocument {
            idempotency_key: self.idempotency_key,
            invoice_id: Kind::Invoice.row("invoiceId", &self.invoice_id)?,
            to: self.to,
        })
    }
}

payload! {
    /// What sending a document again gave.
    ResendDocumentPayload {
        /// The mail that was asked for.
        mail: Mail
    }
}

/// An invoice to take back, in whole or in part.
#[derive(InputObject)]
pub struct CreditInvoiceInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The invoice.
    invoice_id: ID,
    /// Why; printed on the credit note.
    reason: String,
    /// Which lines, and how much of each; all that is left of the invoice when left out.
    lines: Option<Vec<CreditedLineInput>>,
    /// The day of the credit note: not to come, and not before the invoice; today when left out.
    issued_on: Option<NaiveDate>,
}

/// What a credit note gives back of one line: all that is left of it, so many, or so much off its price.
#[derive(InputObject)]
pub struct CreditedLineInput {
    /// Its place on the invoice, from 1.
    position: i32,
    /// So many of it.
    quantity: Option<ExactDecimal>,
    /// So much off its price, before tax; the tax on it goes back with it.
    amount_off: Option<Money>,
}

impl From<CreditedLineInput> for crediting::CreditedLine {
    fn from(line: CreditedLineInput) -> Self {
        Self {
            position: line.position,
            quantity: line.quantity.map(|quantity| quantity.0),
            amount_off: line.amount_off.map(|amount| amount.0),
        }
    }
}

impl CreditInvoiceInput {
    fn command(self) -> Result<Dated<crediting::CreditInvoice>> {
        let order = crediting::CreditInvoice {
            idempotency_key: self.idempotency_key,
            invoice_id: Kind::Invoice.row("invoiceId", &self.invoice_id)?,
            reason: self.reason,
            lines: self
                .lines
                .map(|lines| lines.into_iter().map(Into::into).collect()),
        };
        Ok(Dated {
            order,
            on: self.issued_on,
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
    pub(super) invoice_id: ID,
    /// How much of the payment.
    pub(super) amount: Money,
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
    fn command(self) -> Result<receiving::RecordPayment> {
        let parts = self.allocations.map(AllocationInput::parts);
        Ok(receiving::RecordPayment {
            idempotency_key: self.idempotency_key,
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            method: self.method.into(),
            reference: self.reference,
            received_on: self.received_on,
            amount: self.amount.0,
            parts: parts.transpose()?,
            excess: if self.allow_credit {
                receiving::Excess::BecomesCredit
            } else {
                receiving::Excess::Refused
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
    /// Bills a call's accepted estimate, or its work without one, to one payer or several, and mails each invoice whose
    /// payer has an e-mail address; that of a warranty payer is told by its claim and not mailed.
    async fn issue_invoice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The call.")] input: IssueInvoiceInput,
    ) -> async_graphql::Result<IssueInvoicePayload> {
        let act = act(ctx)?;
        let outcome = async { closeout::issue_invoice(act, input.command()?).await }.await;
        IssueInvoicePayload::of(outcome)
    }

    /// Bills one payer's share of a call, whose invoice was taken back in whole, to somebody else.
    async fn rebill_invoice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The share.")] input: RebillInvoiceInput,
    ) -> async_graphql::Result<RebillInvoicePayload> {
        let act = act(ctx)?;
        let outcome = async { rebilling::rebill_invoice(act, input.command()?).await }.await;
        RebillInvoicePayload::of(outcome.map(Invoice::from))
    }

    /// Takes an invoice back, in whole or in part: what is open is settled, what was paid becomes the customer's credit. One
    /// that a claim stands on is refused until the claim is void.
    async fn credit_invoice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The invoice.")] input: CreditInvoiceInput,
    ) -> async_graphql::Result<CreditInvoicePayload> {
        let act = act(ctx)?;
        let outcome = async { closeout::credit_invoice(act, input.command()?).await }.await;
        CreditInvoicePayload::of(outcome.map(Invoice::from))
    }

    /// Records money received and what it settles. What is claimed of a warranty payer is settled only by name; its claim moves
    /// on as by an advice.
    async fn record_payment(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The payment.")] input: RecordPaymentInput,
    ) -> async_graphql::Result<RecordPaymentPayload> {
        let act = act(ctx)?;
        let outcome = async { remittances::record_payment(act, input.command()?).await }.await;
        RecordPaymentPayload::of(outcome.map(Payment::from))
    }

    /// Bills a customer without a call and mails the invoice, if the customer has an e-mail address.
    async fn issue_free_invoice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The work.")] input: IssueFreeInvoiceInput,
    ) -> async_graphql::Result<IssueFreeInvoicePayload> {
        let act = act(ctx)?;
        let outcome = async { free::issue_free_invoice(act, input.command()?).await }.await;
        IssueFreeInvoicePayload::of(outcome.map(Invoice::from))
    }

    /// Mails an issued invoice or credit note once more, with what is paid by now.
    async fn resend_document(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The document.")] input: ResendDocumentInput,
    ) -> async_graphql::Result<ResendDocumentPayload> {
        let act = act(ctx)?;
        let outcome = async { resending::resend_document(act, input.command()?).await }.await;
        ResendDocumentPayload::of(outcome.map(Mail::from))
    }
}
