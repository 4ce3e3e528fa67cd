//! What settles the wrong invoice, in the graph.

use async_graphql::{Context, ID, InputObject, Object};

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::invoices::graphql::Invoice;
use crate::payload;

use super::super::operations::taking_off::{TakeOffInvoice, take_off_invoice};

/// Money or credit that settles an invoice it is not meant for.
#[derive(InputObject)]
pub struct TakeOffInvoiceInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The invoice.
    invoice_id: ID,
    /// The payment that settles it, or else the credit note.
    payment_id: Option<ID>,
    /// The credit note of another invoice that settles it.
    credit_note_id: Option<ID>,
    /// Why.
    reason: String,
}

impl TakeOffInvoiceInput {
    fn command(self) -> Result<TakeOffInvoice> {
        let payment = self.payment_id.as_ref();
        let note = self.credit_note_id.as_ref();
        Ok(TakeOffInvoice {
            idempotency_key: self.idempotency_key,
            invoice_id: Kind::Invoice.row("invoiceId", &self.invoice_id)?,
            payment_id: payment
                .map(|id| Kind::Payment.row("paymentId", id))
                .transpose()?,
            credit_note_id: note
                .map(|id| Kind::Invoice.row("creditNoteId", id))
                .transpose()?,
            reason: self.reason,
        })
    }
}

payload! {
    /// What taking money off an invoice gave.
    TakeOffInvoicePayload {
        /// The invoice, of which so much is open again.
        invoice: Invoice
    }
}

/// Changes about money that claims and invoices were settled by.
#[derive(Default)]
pub struct TakingOffMutation;

#[Object]
impl TakingOffMutation {
    /// Takes all that a payment or a credit note settles of an invoice off it again: it is credit of whoever paid, to settle
    /// another invoice (`allocatePayment`, `applyCredit`) or to be paid back. A claim for the invoice stands where it stood
    /// before that money.
    async fn take_off_invoice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The invoice, and what is not meant for it.")] input: TakeOffInvoiceInput,
    ) -> async_graphql::Result<TakeOffInvoicePayload> {
        let act = act(ctx)?;
        let outcome = async { take_off_invoice(act, input.command()?).await }.await;
        TakeOffInvoicePayload::of(outcome.map(Invoice::from))
    }
}
