//! Receipts of payments by mail.

use async_graphql::{Context, ID, InputObject, Object};

use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::jobs::graphql::Mail;
use crate::payload;

use super::super::telling::receipt;

/// A receipt to mail.
#[derive(InputObject)]
pub struct SendReceiptInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The payment.
    payment_id: ID,
    /// Where to; the customer's own address when left out.
    to: Option<String>,
}

payload! {
    /// What sending a receipt gave.
    SendReceiptPayload {
        /// The mail that was asked for.
        mail: Mail
    }
}

/// Receipts of payments.
#[derive(Default)]
pub struct ReceiptsMutation;

#[Object]
impl ReceiptsMutation {
    /// Mails the receipt of a payment with its PDF.
    async fn send_receipt(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Of which payment, and where to.")] input: SendReceiptInput,
    ) -> async_graphql::Result<SendReceiptPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let order = receipt::SendReceipt {
                idempotency_key: input.idempotency_key,
                payment_id: Kind::Payment.row("paymentId", &input.payment_id)?,
                to: input.to,
            };
            receipt::send_receipt(act, order).await
        };
        SendReceiptPayload::of(outcome.await.map(Mail::from))
    }
}
