//! Sending an issued document once more.

use nameplate_entities::outbox_mail;
use sea_orm::EntityTrait;
use serde::Serialize;

use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, audit, idempotency};
use crate::customers;
use crate::invoices::issuing::writing;
use crate::invoices::store;

/// A document to send again.
#[derive(Clone, Debug, Serialize)]
pub struct ResendDocument {
    #[serde(skip)]
    pub idempotency_key: String,
    pub invoice_id: i64,
    /// Where to; the customer's own address when left out.
    pub to: Option<String>,
}

/// Sends an invoice or credit note again, with what is paid by now.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Missing` at `to` for a customer without an e-mail address.
pub async fn resend_document(act: &Act, order: ResendDocument) -> Result<outbox_mail::Model> {
    act.staff_with(Right::ResendDocument)?;
    let verb = Right::ResendDocument.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    let find = async |id: i64| {
        let row = outbox_mail::Entity::find_by_id(id).one(&tx).await?;
        row.ok_or_else(|| Error::internal("a mail that was asked for is gone"))
    };
    if let Some(id) = once.receipt::<i64>()? {
        return find(id).await;
    }
    let mut checks = Checks::new();
    let to = checks.email_if_any("to", order.to.as_deref());
    checks.finish()?;
    let invoice = store::get_invoice(&tx, "invoiceId", order.invoice_id).await?;
    let customer = customers::get_customer(&tx, "", invoice.customer_id).await?;
    let Some(email) = to.or(customer.email) else {
        let message = "This customer has no e-mail address; say where to send it.";
        return Err(Error::refused(ProblemCode::Missing, "to", message));
    };
    let to = Addressee {
        email,
        name: customer.name,
    };
    let payload = Payload::Invoice {
        invoice_id: invoice.id,
    };
    let subject = writing::subject(invoice.id);
    let id = outbox::enqueue(&tx, act, &to, subject, &payload).await?;
    let mail = find(id).await?;
    audit::created(&tx, act, verb, subject, &mail).await?;
    once.keep(&tx, act, &id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(mail)
}
