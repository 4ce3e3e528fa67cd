//! The mail about a payment that came back: what it settled is open again.

use nameplate_entities::kinds::ReversalKind;
use nameplate_entities::{allocation, customer, payment, payment_reversal};
use nameplate_rules::money::Cents;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::base::letter::{CustomerMail, MailShop, Outgoing};
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Error, Result, wording};
use crate::customers;
use crate::estimates::parties;
use crate::invoices::receiving::subject;
use crate::invoices::store;
use crate::shop::Settings;

/// Queues the mail about a payment that came back, if its customer can be reached. One that was only typed by mistake is
/// nothing the customer knows of.
///
/// # Errors
/// Internal only.
pub async fn tell(
    tx: &impl ConnectionTrait,
    act: &Act,
    (row, kind): (&payment::Model, ReversalKind),
) -> Result<()> {
    if kind == ReversalKind::RecordedByMistake {
        return Ok(());
    }
    let customer = customers::get_customer(tx, "", row.customer_id).await?;
    let Some(email) = customer.email else {
        return Ok(());
    };
    let to = Addressee {
        email,
        name: customer.name,
    };
    let payload = Payload::PaymentReturned { payment_id: row.id };
    outbox::enqueue(tx, act, &to, subject(row.id), &payload).await?;
    Ok(())
}

/// The mail itself, with what is open now.
///
/// # Errors
/// `NotFound`; internal, when the template fails.
pub async fn returned_letter(
    db: &impl ConnectionTrait,
    settings: &Settings,
    payment_id: i64,
) -> Result<Outgoing> {
    let row = store::get_payment(db, "", payment_id).await?;
    let customer = customers::get_customer(db, "", row.customer_id).await?;
    let sentences = sentences(db, settings, &row).await?;
    let mail = letter(settings, &row, (customer, sentences));
    let rendered = mail
        .render()
        .map_err(|error| Error::caused("mail of a returned payment", error))?;
    Ok(Outgoing {
        rendered,
        attachments: Vec::new(),
        without: None,
    })
}

fn letter(
    settings: &Settings,
    row: &payment::Model,
    (customer, sentences): (customer::Model, Vec<String>),
) -> CustomerMail {
    let shop = parties::shop_block(settings);
    CustomerMail {
        shop: MailShop {
            name: shop.name,
            address_lines: shop.address,
            phone: shop.phone,
            email: shop.email,
        },
        customer_name: customer.name,
        headline: format!("Your payment {} was returned", row.number),
        sentences,
        ..CustomerMail::default()
    }
}

async fn sentences(
    db: &impl ConnectionTrait,
    settings: &Settings,
    row: &payment::Model,
) -> Result<Vec<String>> {
    let currency = &settings.row.currency;
    let reversal = payment_reversal::Entity::find()
        .filter(payment_reversal::Column::PaymentId.eq(row.id))
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a returned payment without its reversal"))?;
    let mut sentences = vec![format!(
        "Your payment {} of {currency} {}, which we received on {}, was returned to us on {}.",
        row.number,
        Cents(row.amount_cents),
        wording::day(row.received_on),
        wording::day(reversal.reversed_on),
    )];
    let mut numbers = Vec::new();
    for invoice_id in settled(db, row.id).await? {
        let invoice = store::get_invoice(db, "", invoice_id).await?;
        let owed = store::receivable_of(db, invoice_id).await?;
        let open = owed.map_or(Cents::ZERO, |owed| Cents(owed.open_cents));
        if open > Cents::ZERO {
            sentences.push(format!(
                "So {currency} {open} of invoice {}, due on {}, is open.",
                invoice.number,
                wording::day(invoice.due_on),
            ));
            numbers.push(invoice.number);
        }
    }
    if !numbers.is_empty() {
        sentences.push(super::how_to_pay(settings, &numbers.join(" and ")));
    }
    Ok(sentences)
}

/// The invoices that the payment settled before it came back, and the one that asks for what was refunded out of it,
/// oldest first.
async fn settled(db: &impl ConnectionTrait, payment_id: i64) -> Result<Vec<i64>> {
    let rows = allocation::Entity::find()
        .filter(allocation::Column::PaymentId.eq(payment_id))
        .filter(allocation::Column::UndoesAllocationId.is_not_null())
        .order_by_asc(allocation::Column::InvoiceId)
        .all(db)
        .await?;
    let mut ids: Vec<i64> = rows.iter().map(|row| row.invoice_id).collect();
    ids.extend(store::claim_on(db, payment_id).await?.map(|claim| claim.id));
    ids.dedup();
    Ok(ids)
}
