//! Invoices without a call: lines as typed, priced and taxed by the same book and rules as estimates.
//!
//! What stays true: work that is billed so is held to what its place asks of work without an estimate, as on a call.

use nameplate_entities::kinds::{ChargeKind, ReceivableKind};
use nameplate_entities::{customer, invoice, service_address};
use nameplate_rules::estimate::{ApplianceBlock, CustomerBlock, PrintedAs};
use nameplate_rules::invoice::Totals;
use rust_decimal::Decimal;
use sea_orm::{ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::check::TEXT_MAX;
use crate::base::{Act, Checks, Error, Result, Right, idempotency};
use crate::customers;
use crate::estimates::{self, NewOption, Workplace, parties};
use crate::invoices::content::{self, Content};
use crate::invoices::dated::{self, Dated};
use crate::invoices::store;
use crate::shop;
use crate::stock::{self, Sold};

use super::sale::{self, Sale};
use super::writing::{Issue, Rows};
use super::{certificates, local};

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

/// Bills a customer without a call. Its parts leave the stock with it, as no call takes them.
///
/// # Errors
/// `Forbidden`; `NotFound` for customer or address; those of [`estimates::price_work`]; `SettingMissing` for words the
/// local rules want on the bill; `TooMuch` at `option` for work that they want agreed to first; `ImpossibleDate` for a day
/// to come; `PeriodClosed`.
pub async fn issue_free_invoice(
    act: &Act,
    dated: impl Into<Dated<IssueFreeInvoice>>,
) -> Result<invoice::Model> {
    let staff_id = act.staff_with(Right::IssueFreeInvoice)?;
    let verb = Right::IssueFreeInvoice.mutation();
    let dated = dated.into();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &dated.order.idempotency_key, &dated).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_invoice(&tx, "", id).await;
    }
    let Dated { order, on } = dated;
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
    let today = settings.day_of(act.at);
    let issued_on = dated::day(&tx, ("issuedOn", on, today), None).await?;
    let issue = Issue {
        settings: &settings,
        issued_on,
        staff_id,
        verb,
    };
    let sale = sale(&tx, &issue, (&customer, &address), (about, order.option)).await?;
    let parts = parts_of(&sale);
    let row = Box::pin(sale::bill(&tx, act, &issue, (sale, &customer))).await?;
    let sold = Sold {
        invoice_id: row.id,
        number: &row.number,
        on: issued_on,
        parts: &parts,
    };
    stock::sell(&tx, act, verb, sold).await?;
    if let Some(certificate) = row.tax_exemption_id {
        certificates::note(&tx, act, (verb, certificate)).await?;
    }
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(row)
}

/// The parts of the catalogue that it sells.
fn parts_of(sale: &Sale) -> Vec<(i64, Decimal)> {
    let parts = sale.rows.lines.iter().filter_map(|line| {
        let id = line.part_id.filter(|_| line.kind == ChargeKind::Part)?;
        (line.quantity.0 > Decimal::ZERO).then_some((id, line.quantity.0))
    });
    parts.collect()
}

/// The sale, once it is known that the local rules let its bill go out.
async fn sale(
    tx: &impl ConnectionTrait,
    issue: &Issue<'_>,
    (customer, address): (&customer::Model, &service_address::Model),
    (about, option): (String, NewOption),
) -> Result<Sale> {
    let path = "serviceAddressId";
    let place = Workplace {
        address,
        customer_id: customer.id,
        built_in: false,
        trip_paid_with: None,
        on: issue.issued_on,
        path,
    };
    let work = estimates::price_work(tx, place, option).await?;
    if let Some(certificate) = work.option.certificate_id {
        certificates::must_be_unused(tx, "customerId", certificate).await?;
    }
    let header = invoice::ActiveModel {
        tax_jurisdiction_id: Set(work.jurisdiction.row.id),
        tax_exemption_id: Set(work.option.certificate_id),
        price_book_id: Set(Some(work.price_book_id)),
        service_address_id: Set(Some(address.id)),
        ..Default::default()
    };
    let printed_as = work.printed_as();
    let rows = Rows::of_work(work);
    let words = Content {
        lines: rows.lines.iter().map(content::line).collect(),
        printed_as,
        ..words(issue, parties::customer_block(customer, address), about)
    };
    if words.lines.iter().any(local::is_work) {
        let on = issue.issued_on;
        estimates::must_need_no_word(tx, issue.settings, address, rows.amounts()?, on).await?;
    }
    let words = local::held_words(tx, (None, address), words, issue).await?;
    Ok(Sale {
        header,
        rows,
        words,
    })
}

/// What an invoice says that is about no machine, before its lines.
pub fn words(issue: &Issue<'_>, customer: CustomerBlock, about: String) -> Content {
    Content {
        kind: ReceivableKind::Invoice,
        number: String::new(),
        issued_on: issue.issued_on,
        due_on: issue.issued_on,
        currency: String::new(),
        shop: parties::shop_block(issue.settings),
        customer,
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
        share: String::new(),
        printed_as: PrintedAs::default(),
    }
}
