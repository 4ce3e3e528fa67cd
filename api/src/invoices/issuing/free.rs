//! Invoices without a call: lines as typed, priced and taxed by the same book and rules as estimates.

use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{Payer, ReceivableKind};
use nameplate_entities::{customer, invoice, invoice_line, invoice_tax, service_address};
use nameplate_rules::books::events;
use nameplate_rules::estimate::{ApplianceBlock, PrintedAs};
use nameplate_rules::invoice::Totals;
use sea_orm::ActiveValue::Set;
use serde::Serialize;

use crate::base::check::TEXT_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, Result, Right, idempotency};
use crate::estimates::{self, FreeWork, NewOption, parties};
use crate::invoices::content::Content;
use crate::invoices::receiving::credit;
use crate::invoices::store;
use crate::shop::{self, Settings};
use crate::{books, customers};

use super::writing::{self, Issue, Rows, post_if_any, tell};
use super::{falls_due, owe};

/// Work to bill without a call.
#[derive(Clone, Debug, Serialize)]
pub struct IssueFreeInvoice {
    #[serde(skip)]
    pub idempotency_key: String,
    pub customer_id: i64,
    /// Where the work was done or the goods went; decides the taxes.
    pub service_address_id: i64,
    /// What it is for, as the customer reads it.
    pub about: String,
    pub option: NewOption,
}

/// Bills a customer without a call.
///
/// # Errors
/// `Forbidden`; `NotFound` for customer or address; those of [`estimates::price_without_call`]; `PeriodClosed`.
pub async fn issue_free_invoice(act: &Act, order: IssueFreeInvoice) -> Result<invoice::Model> {
    let staff_id = act.staff_with(Right::IssueFreeInvoice)?;
    let verb = Right::IssueFreeInvoice.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_invoice(&tx, "", id).await;
    }
    let mut checks = Checks::new();
    let about = checks.text("about", &order.about, TEXT_MAX);
    checks.finish()?;
    let customer = customers::get_customer(&tx, "customerId", order.customer_id).await?;
    let path = "serviceAddressId";
    let address = customers::get_address(&tx, path, order.service_address_id).await?;
    if address.customer_id != customer.id {
        return Err(Error::not_found(path, "service address of this customer"));
    }
    let settings = shop::settings(&tx).await?;
    let issued_on = settings.day_of(act.at);
    books::check_open(&tx, "", issued_on).await?;
    let work = estimates::price_without_call(&tx, (&address, issued_on), order.option).await?;
    let issue = Issue {
        settings: &settings,
        issued_on,
        staff_id,
        verb,
    };
    let header = invoice::ActiveModel {
        kind: Set(ReceivableKind::Invoice),
        number: Set(numbers::take(&tx, Series::Invoice).await?),
        customer_id: Set(customer.id),
        payer: Set(Payer::Customer),
        tax_jurisdiction_id: Set(work.jurisdiction.row.id),
        due_on: Set(falls_due(&settings, &customer, issued_on)?),
        ..Default::default()
    };
    let rows = rows_of(work);
    let amounts = rows.document_amounts()?;
    let words = words(&settings, (&customer, &address), about, &issue);
    let row = writing::write(&tx, act, &issue, (header, rows, words)).await?;
    let owed = owe(&tx, &row).await?;
    let memo = format!("Invoice {}", row.number);
    let entry = events::invoice_issued(&amounts);
    post_if_any(&tx, act, &row, (memo, entry)).await?;
    credit::lay_by_itself(&tx, act, &row, owed).await?;
    tell(&tx, act, &row, &customer).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(row)
}

fn words(
    settings: &Settings,
    (customer, address): (&customer::Model, &service_address::Model),
    about: String,
    issue: &Issue<'_>,
) -> Content {
    Content {
        kind: ReceivableKind::Invoice,
        number: String::new(),
        issued_on: issue.issued_on,
        due_on: issue.issued_on,
        currency: String::new(),
        shop: parties::shop_block(settings),
        customer: parties::customer_block(customer, address),
        appliance: ApplianceBlock::default(),
        ratings: Vec::new(),
        call_number: String::new(),
        service_on: None,
        estimate: String::new(),
        corrects: None,
        reason: None,
        complaint: about,
        found: String::new(),
        lines: Vec::new(),
        tax_levels: Vec::new(),
        totals: Totals::default(),
        warranty: String::new(),
        consents: Vec::new(),
        local_lines: Vec::new(),
        printed_as: PrintedAs::default(),
    }
}

/// The priced lines as an invoice keeps them.
fn rows_of(work: FreeWork) -> Rows {
    let FreeWork {
        option,
        jurisdiction,
    } = work;
    let lines = (1..)
        .zip(option.lines)
        .map(|(position, line)| invoice_line::Model {
            id: 0,
            invoice_id: 0,
            position,
            kind: line.kind,
            description: line.description,
            part_id: line.part_id,
            quantity: Exact(line.quantity),
            unit_price_cents: line.unit_price.0,
            net_cents: line.net.0,
            discount_cents: line.discount.0,
            taxable_cents: line.tax.taxable_cents.0,
            tax_cents: line.tax.tax_cents.0,
            tax_reason: line.tax.reason,
            cost_cents: line.cost.0,
            labour_minutes: line.labour_minutes,
            part_condition: line.condition,
            own_discount_cents: line.own_discount.0,
            credits_line_id: None,
            corrects_price: false,
        });
    let levels = option
        .tax
        .levels
        .into_iter()
        .filter_map(|tax| Some((jurisdiction.levels.get(tax.at)?.id, tax)));
    let taxes = (1..)
        .zip(levels)
        .map(|(position, (tax_level_id, tax))| invoice_tax::Model {
            id: 0,
            invoice_id: 0,
            position,
            tax_level_id,
            name: tax.name,
            rate_percent: tax.rate.per_hundred().into(),
            taxable_cents: tax.taxable_cents.0,
            tax_cents: tax.tax_cents.0,
        });
    Rows {
        lines: lines.collect(),
        taxes: taxes.collect(),
    }
}
