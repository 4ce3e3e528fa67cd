//! Charges beside the work: for a payment that came back and what was refunded out of it, for what is late. Each is a
//! numbered invoice of its own.

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{ChargeKind, Payer, ReceivableKind};
use nameplate_entities::{invoice, invoice_line, payment};
use nameplate_rules::books::events;
use nameplate_rules::estimate::{ApplianceBlock, CustomerBlock, PrintedAs};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveValue::Set, ConnectionTrait};

use crate::base::numbers::{self, Series};
use crate::base::{Act, Error, ProblemCode, Result};
use crate::estimates::parties;
use crate::invoices::content::Content;
use crate::invoices::store;
use crate::shop::Settings;
use crate::{books, customers};

use super::writing::{self, Issue, Rows, post_if_any, tell};
use super::{falls_due, free, owe};

/// Why a charge carries no sales tax. Common practice, no source: it pays for no work and no thing.
const UNTAXED: &str = "A charge for a late or returned payment; it is no sale.";

/// Why a claim carries none. Common practice, no source: it asks for money back.
const NO_SALE: &str = "Money that was paid back; it is no sale.";

/// A charge and the invoice that it is about.
pub struct Charge {
    pub invoice: invoice::Model,
    pub description: String,
    /// What happened, in a sentence.
    pub reason: String,
    pub amount: Cents,
    pub on: NaiveDate,
}

/// Bills a charge to the customer of the invoice it is about, and mails it.
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
    let issued_on = charge.on;
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
        due_on: Set(falls_due(settings, &customer, settings.day_of(act.at))?),
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

/// What was refunded out of a payment that came back.
pub struct Claim {
    pub payment: payment::Model,
    /// Numbers of the refunds.
    pub refunds: Vec<String>,
    pub amount: Cents,
    pub returned_on: NaiveDate,
}

/// Bills a customer what was refunded out of a payment that came back, from the day it came back on, and mails it. It is
/// no sale: what it asks for takes the place of the credit that was paid back.
///
/// # Errors
/// `PeriodClosed`; `SettingMissing` in a shop without a tax jurisdiction.
pub async fn claim(
    tx: &impl ConnectionTrait,
    act: &Act,
    settings: &Settings,
    (verb, staff_id): (&'static str, i64),
    claim: Claim,
) -> Result<invoice::Model> {
    let issue = Issue {
        settings,
        issued_on: claim.returned_on,
        staff_id,
        verb,
    };
    let customer = customers::get_customer(tx, "", claim.payment.customer_id).await?;
    let address = store::first_address(tx, customer.id).await?;
    let placed = address.as_ref().and_then(|row| row.tax_jurisdiction_id);
    let jurisdiction = match placed {
        Some(id) => Some(id),
        None => store::any_jurisdiction(tx).await?,
    };
    let jurisdiction = jurisdiction.ok_or_else(|| {
        let message = "Add a tax jurisdiction first: every invoice names one.";
        Error::refused(ProblemCode::SettingMissing, "", message)
    })?;
    let header = invoice::ActiveModel {
        kind: Set(ReceivableKind::Invoice),
        number: Set(numbers::take(tx, Series::Invoice).await?),
        customer_id: Set(customer.id),
        payer: Set(Payer::Customer),
        returned_payment_id: Set(Some(claim.payment.id)),
        tax_jurisdiction_id: Set(jurisdiction),
        due_on: Set(falls_due(settings, &customer, settings.day_of(act.at))?),
        ..Default::default()
    };
    let about = format!(
        "Payment {} of {} came back on {}.",
        claim.payment.number, claim.payment.received_on, claim.returned_on
    );
    let block = match &address {
        Some(address) => parties::customer_block(&customer, address),
        None => CustomerBlock {
            name: customer.name.clone(),
            billing_address: Vec::new(),
            service_address: Vec::new(),
        },
    };
    let words = free::words(&issue, block, about);
    let description = format!(
        "Paid back to you by {} out of payment {}, which then came back",
        claim.refunds.join(", "),
        claim.payment.number
    );
    let mut line = line(description, claim.amount);
    NO_SALE.clone_into(&mut line.tax_reason);
    let rows = Rows {
        lines: vec![line],
        taxes: Vec::new(),
    };
    let row = writing::write(tx, act, &issue, (header, rows, words)).await?;
    owe(tx, &row).await?;
    let memo = format!(
        "Invoice {}: refunded out of {}",
        row.number, claim.payment.number
    );
    let entry = events::refund_claimed(claim.amount).map(Some);
    post_if_any(tx, act, &row, (memo, entry)).await?;
    tell(tx, act, &row, &customer).await?;
    Ok(row)
}

/// The one line of a charge: no tax, no cost.
pub fn line(description: String, amount: Cents) -> invoice_line::Model {
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
