//! Charges beside the work: for a payment that came back, for what is late. Each is a numbered invoice of its own.

use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{ChargeKind, Payer, ReceivableKind};
use nameplate_entities::{invoice, invoice_line};
use nameplate_rules::books::events;
use nameplate_rules::estimate::{ApplianceBlock, PrintedAs};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveValue::Set, ConnectionTrait};

use crate::base::numbers::{self, Series};
use crate::base::{Act, Result};
use crate::invoices::content::Content;
use crate::shop::Settings;
use crate::{books, customers};

use super::writing::{self, Issue, Rows, post_if_any, tell};
use super::{falls_due, owe};

/// Why a charge carries no sales tax. Common practice, no source: it pays for no work and no thing.
const UNTAXED: &str = "A charge for a late or returned payment; it is no sale.";

/// A charge and the invoice that it is about.
pub struct Charge {
    pub invoice: invoice::Model,
    pub description: String,
    /// What happened, in a sentence.
    pub reason: String,
    pub amount: Cents,
}

/// Bills a charge to the customer of the invoice it is about, today, and mails it.
///
/// # Errors
/// `PeriodClosed`.
pub async fn issue(
    tx: &impl ConnectionTrait,
    act: &Act,
    settings: &Settings,
    (verb, staff_id): (&'static str, i64),
    charge: Charge,
) -> Result<invoice::Model> {
    let issued_on = settings.day_of(act.at);
    books::check_open(tx, "", issued_on).await?;
    let issue = Issue {
        settings,
        issued_on,
        staff_id,
        verb,
    };
    let about = charge.invoice;
    let customer = customers::get_customer(tx, "", about.customer_id).await?;
    let words = words(&about, charge.reason)?;
    let header = invoice::ActiveModel {
        reason: Set(words.reason.clone()),
        kind: Set(ReceivableKind::Invoice),
        number: Set(numbers::take(tx, Series::Invoice).await?),
        customer_id: Set(customer.id),
        payer: Set(Payer::Customer),
        charge_for_invoice_id: Set(Some(about.id)),
        tax_jurisdiction_id: Set(about.tax_jurisdiction_id),
        service_address_id: Set(about.service_address_id),
        due_on: Set(falls_due(settings, &customer, issued_on)?),
        ..Default::default()
    };
    let rows = Rows {
        lines: vec![line(charge.description, charge.amount)],
        taxes: Vec::new(),
    };
    let amounts = rows.document_amounts()?;
    let row = writing::write(tx, act, &issue, (header, rows, words)).await?;
    owe(tx, &row).await?;
    let memo = format!("Invoice {}", row.number);
    let entry = events::invoice_issued(&amounts);
    post_if_any(tx, act, &row, (memo, entry)).await?;
    tell(tx, act, &row, &customer).await?;
    Ok(row)
}

/// What the bill says: what happened, and which invoice it is about. No machine and no work, as it is for none.
fn words(about: &invoice::Model, reason: String) -> Result<Content> {
    Ok(Content {
        appliance: ApplianceBlock::default(),
        ratings: Vec::new(),
        call_number: String::new(),
        service_on: None,
        estimate: String::new(),
        complaint: String::new(),
        found: String::new(),
        reason: Some(format!("{reason} This is about invoice {}.", about.number)),
        warranty: String::new(),
        consents: Vec::new(),
        local_lines: Vec::new(),
        share: String::new(),
        printed_as: PrintedAs::default(),
        ..Content::of(about)?
    })
}

fn line(description: String, amount: Cents) -> invoice_line::Model {
    invoice_line::Model {
        id: 0,
        invoice_id: 0,
        position: 1,
        kind: ChargeKind::Fee,
        description,
        part_id: None,
        quantity: Exact(Decimal::ONE),
        unit_price_cents: amount.0,
        net_cents: amount.0,
        discount_cents: 0,
        taxable_cents: 0,
        tax_cents: 0,
        tax_reason: UNTAXED.to_owned(),
        cost_cents: 0,
        labour_minutes: None,
        part_condition: None,
        own_discount_cents: 0,
        credits_line_id: None,
        corrects_price: false,
        sale_position: None,
        is_part: false,
    }
}
