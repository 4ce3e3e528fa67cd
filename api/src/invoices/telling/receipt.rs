//! Receipts: one page that says what was received and what it paid, as it stands when it is made.

use nameplate_documents as documents;
use nameplate_entities::{customer, outbox_mail, payment, service_address};
use nameplate_rules::money::Cents;
use sea_orm::{ConnectionTrait, EntityTrait};
use serde::Serialize;

use crate::base::audit;
use crate::base::letter::{Attachment, CustomerMail, MailShop, Outgoing};
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency, wording};
use crate::customers;
use crate::estimates::parties;
use crate::invoices::receiving::subject;
use crate::invoices::store;
use crate::shop::{self, Settings};

use super::letter::method;

/// A receipt to mail.
#[derive(Clone, Debug, Serialize)]
pub struct SendReceipt {
    #[serde(skip)]
    pub idempotency_key: String,
    pub payment_id: i64,
    /// Where to; the customer's own address when left out.
    pub to: Option<String>,
}

/// Mails the receipt of a payment with its PDF.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a payment that was undone; `Missing` at `to` for a customer without an e-mail
/// address.
pub async fn send_receipt(act: &Act, order: SendReceipt) -> Result<outbox_mail::Model> {
    act.staff_with(Right::SendReceipt)?;
    let verb = Right::SendReceipt.mutation();
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
    let row = store::get_payment(&tx, "paymentId", order.payment_id).await?;
    if let Some(day) = row.reversed_on {
        let message = format!("{} was undone on {day}.", row.number);
        return Err(Error::refused(
            ProblemCode::WrongState,
            "paymentId",
            message,
        ));
    }
    let customer = customers::get_customer(&tx, "", row.customer_id).await?;
    let Some(email) = to.or(customer.email) else {
        let message = "This customer has no e-mail address; say where to send it.";
        return Err(Error::refused(ProblemCode::Missing, "to", message));
    };
    let to = Addressee {
        email,
        name: customer.name,
    };
    let payload = Payload::Receipt { payment_id: row.id };
    let id = outbox::enqueue(&tx, act, &to, subject(row.id), &payload).await?;
    let mail = find(id).await?;
    audit::created(&tx, act, verb, subject(row.id), &mail).await?;
    once.keep(&tx, act, &id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(mail)
}

/// The mail that brings a receipt.
///
/// # Errors
/// `NotFound`; internal, when template or typesetter fail.
pub async fn receipt_letter(
    db: &impl ConnectionTrait,
    settings: &Settings,
    payment_id: i64,
) -> Result<Outgoing> {
    let row = store::get_payment(db, "", payment_id).await?;
    let customer = customers::get_customer(db, "", row.customer_id).await?;
    let shop = parties::shop_block(settings);
    let mail = CustomerMail {
        shop: MailShop {
            name: shop.name,
            address_lines: shop.address,
            phone: shop.phone,
            email: shop.email,
        },
        customer_name: customer.name,
        headline: format!("Receipt of payment {}", row.number),
        sentences: vec![
            format!(
                "Thank you. We received {} {} from you on {}.",
                settings.row.currency,
                Cents(row.amount_cents),
                wording::day(row.received_on)
            ),
            "The receipt is attached as PDF.".to_owned(),
        ],
        ..CustomerMail::default()
    };
    let rendered = mail
        .render()
        .map_err(|error| Error::caused("mail of a receipt", error))?;
    Ok(Outgoing {
        rendered,
        attachments: vec![receipt(db, payment_id).await?],
        without: None,
    })
}

/// The receipt of a payment as PDF.
///
/// # Errors
/// `NotFound`; internal, when the typesetter fails.
pub async fn receipt(db: &impl ConnectionTrait, payment_id: i64) -> Result<Attachment> {
    let row = store::get_payment(db, "", payment_id).await?;
    let customer = customers::get_customer(db, "", row.customer_id).await?;
    let settings = shop::settings(db).await?;
    let address = store::first_address(db, customer.id).await?;
    let lines = lines(db, &row).await?;
    let file_name = format!("receipt-{}.pdf", row.number);
    let document = document(&settings, &row, (&customer, address.as_ref()), lines);
    let bytes = tokio::task::spawn_blocking(move || documents::receipt_pdf(&document))
        .await
        .map_err(|error| Error::caused("receipt PDF", error))?
        .map_err(|error| Error::caused("receipt PDF", error))?;
    Ok(Attachment {
        file_name,
        content_type: "application/pdf".to_owned(),
        bytes,
    })
}

/// What the payment settles now, and what is left of it.
async fn lines(
    db: &impl ConnectionTrait,
    row: &payment::Model,
) -> Result<Vec<documents::ReceiptLine>> {
    let laid = store::laid_with(db, row.id).await?;
    let ids = laid.iter().map(|part| part.invoice_id).collect();
    let invoices = store::invoices_by_id(db, ids).await?;
    let mut lines: Vec<documents::ReceiptLine> = laid
        .iter()
        .map(|part| documents::ReceiptLine {
            what: invoices
                .iter()
                .find(|invoice| invoice.id == part.invoice_id)
                .map_or_else(String::new, |invoice| format!("Invoice {}", invoice.number)),
            amount: Cents(part.amount_cents).to_string(),
        })
        .collect();
    if row.reversed_on.is_none() {
        let refunds = store::refunds_of(db, row.id).await?;
        let standing = refunds
            .into_iter()
            .filter(|(_, taken)| *taken > Cents::ZERO);
        lines.extend(standing.map(|(refund, taken)| documents::ReceiptLine {
            what: format!("Paid back to you by {}", refund.number),
            amount: taken.to_string(),
        }));
    }
    if row.unallocated_cents > 0 {
        let what = if row.deposit_call_id.is_some() {
            "Deposit for work that is not billed yet"
        } else {
            "Kept as your credit"
        };
        lines.push(documents::ReceiptLine {
            what: what.to_owned(),
            amount: Cents(row.unallocated_cents).to_string(),
        });
    }
    Ok(lines)
}

fn document(
    settings: &Settings,
    row: &payment::Model,
    (customer, address): (&customer::Model, Option<&service_address::Model>),
    lines: Vec<documents::ReceiptLine>,
) -> documents::ReceiptDocument {
    let shop = parties::shop_block(settings);
    let billing = address.map(|address| parties::customer_block(customer, address));
    let undone = row.reversed_on.map(|day| {
        format!(
            "This payment came back or was undone on {}.",
            wording::day(day)
        )
    });
    documents::ReceiptDocument {
        shop: documents::ShopBlock {
            licence_line: (!shop.registration.is_empty()).then_some(shop.registration),
            name: shop.name,
            address_lines: shop.address,
            phone: shop.phone,
            email: shop.email,
        },
        customer: documents::CustomerBlock {
            name: customer.name.clone(),
            address_lines: billing.map_or_else(Vec::new, |block| block.billing_address),
            service_address_lines: Vec::new(),
            phone: None,
            email: None,
        },
        number: row.number.clone(),
        received_on: row.received_on.to_string(),
        method: method(row.method).to_owned(),
        reference: row.reference.clone(),
        currency: settings.row.currency.clone(),
        amount: Cents(row.amount_cents).to_string(),
        lines,
        notes: undone.into_iter().collect(),
    }
}
