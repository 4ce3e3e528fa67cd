//! A rest that the customer of the call owes.

use chrono::NaiveDate;
use nameplate_entities::kinds::{Payer, ReceivableKind};
use nameplate_entities::{allocation, customer, invoice, service_call};
use nameplate_rules::books::events::{self, ShortfallBearer};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};

use crate::base::numbers::{self, Series};
use crate::base::{Act, Error, ProblemCode, Result, audit, wording};
use crate::estimates::parties;
use crate::invoices::chasing::undoing;
use crate::invoices::content::Content;
use crate::invoices::crediting;
use crate::invoices::issuing::writing::{self, Issue, Rows, post_if_any, tell};
use crate::invoices::issuing::{charges, falls_due, free, owe};
use crate::invoices::receiving::{freeing, settling};
use crate::invoices::{dated, store};
use crate::shop::{self, Settings};
use crate::{calls, customers, warranty};

use super::Rest;

/// Why such an invoice carries no sales tax. Common practice, no source: the work was sold, and taxed, by the payer's
/// invoice.
const NO_SALE: &str = "What a warranty payer left unpaid; sold and taxed by its invoice.";

/// Bills so much of what is open on a payer's invoice to the customer of its call, and mails it.
///
/// # Errors
/// `WrongState` for an invoice that no warranty payer owes or of no call, and for a payer that does not let its rest be
/// billed; `Missing` at `reason`; `NegativeMoney` or `TooMuch` at `amount`; at `on` `ImpossibleDate` and `PeriodClosed`.
pub async fn move_rest(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    invoice: &invoice::Model,
    amount: Cents,
    reason: &str,
    on: NaiveDate,
) -> Result<invoice::Model> {
    let rest = Rest::of(tx, act, invoice, (amount, reason, on)).await?;
    let payer = may_be_billed(tx, invoice).await?;
    let call = match invoice.call_id {
        Some(id) => calls::get_call(tx, "", id).await?,
        None => return refused(format!("{} bills no call.", invoice.number)),
    };
    let customer = customers::get_customer(tx, "", call.customer_id).await?;
    if customer.id == payer.id {
        return refused(format!(
            "{} is the customer of call {}.",
            payer.name, call.number
        ));
    }
    let settings = shop::settings(tx).await?;
    let issue = Issue {
        settings: &settings,
        issued_on: rest.on,
        staff_id: rest.staff_id,
        verb,
    };
    let row = bill(
        tx,
        act,
        &issue,
        (invoice, &rest),
        (&payer, &call, &customer),
    )
    .await?;
    take_over(tx, act, verb, (invoice, &row)).await?;
    let memo = format!("Invoice {}: rest of {}", row.number, invoice.number);
    let entry = events::claim_short_paid(ShortfallBearer::Customer, rest.amount).map(Some);
    post_if_any(tx, act, &row, (memo, entry)).await?;
    tell(tx, act, &row, &customer).await?;
    Ok(row)
}

fn refused<T>(message: String) -> Result<T> {
    Err(Error::refused(ProblemCode::WrongState, "", message))
}

/// The customer record of the payer, if its terms let what it does not pay be billed.
async fn may_be_billed(
    tx: &impl ConnectionTrait,
    invoice: &invoice::Model,
) -> Result<customer::Model> {
    let id = invoice.warranty_payer_id;
    let id = id.ok_or_else(|| Error::internal("an invoice to no warranty payer"))?;
    let ways = warranty::get_payer(tx, "", id).await?;
    let payer = customers::get_customer(tx, "", ways.customer_id).await?;
    if !ways.may_bill_rest {
        return refused(format!(
            "What {} does not pay may not be billed to the customer; the shop bears it.",
            payer.name
        ));
    }
    Ok(payer)
}

/// The invoice that asks the customer for it: one line, no tax.
async fn bill(
    tx: &impl ConnectionTrait,
    act: &Act,
    issue: &Issue<'_>,
    (invoice, rest): (&invoice::Model, &Rest),
    (payer, call, customer): (&customer::Model, &service_call::Model, &customer::Model),
) -> Result<invoice::Model> {
    let told_on = issue.settings.day_of(act.at);
    let address = customers::get_address(tx, "", call.service_address_id).await?;
    let reason = why(issue, (invoice, rest), (payer, call));
    let header = invoice::ActiveModel {
        kind: Set(ReceivableKind::Invoice),
        number: Set(numbers::take(tx, Series::Invoice).await?),
        customer_id: Set(customer.id),
        payer: Set(Payer::Customer),
        moved_from_invoice_id: Set(Some(invoice.id)),
        tax_jurisdiction_id: Set(invoice.tax_jurisdiction_id),
        service_address_id: Set(invoice.service_address_id),
        due_on: Set(falls_due(issue.settings, customer, told_on)?),
        reason: Set(Some(reason.clone())),
        ..Default::default()
    };
    let block = parties::customer_block(customer, &address);
    let words = Content {
        reason: Some(reason),
        ..free::words(issue, block, String::new())
    };
    let description = format!("Not paid by {} for call {}", payer.name, call.number);
    let mut line = charges::line(description, rest.amount);
    NO_SALE.clone_into(&mut line.tax_reason);
    let rows = Rows {
        lines: vec![line],
        taxes: Vec::new(),
    };
    let row = writing::write(tx, act, issue, (header, rows, words)).await?;
    owe(tx, &row).await?;
    Ok(row)
}

/// What the customer is told.
fn why(
    issue: &Issue<'_>,
    (invoice, rest): (&invoice::Model, &Rest),
    (payer, call): (&customer::Model, &service_call::Model),
) -> String {
    let end = if rest.reason.ends_with(['.', '!', '?']) {
        ""
    } else {
        "."
    };
    format!(
        "We asked {} to pay for call {} of {} (invoice {}). Of that it did not pay {} {}: {}{end} What it does not pay is \
         yours to pay.",
        payer.name,
        call.number,
        wording::day(call.opened_on),
        invoice.number,
        issue.settings.row.currency,
        rest.amount,
        rest.reason,
    )
}

/// Lowers what the payer owes by what the other invoice asks for.
async fn take_over(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    (invoice, moved): (&invoice::Model, &invoice::Model),
) -> Result<()> {
    let before = store::receivable_of(tx, invoice.id).await?;
    let row = allocation::ActiveModel {
        moved_to_invoice_id: Set(Some(moved.id)),
        invoice_id: Set(invoice.id),
        amount_cents: Set(moved.total_cents),
        applied_on: Set(moved.issued_on),
        allocated_at: Set(act.at),
        ..Default::default()
    };
    row.insert(tx).await?;
    settling::open_more(tx, invoice.id, -moved.total_cents).await?;
    let after = store::receivable_of(tx, invoice.id).await?;
    let subject = writing::subject(invoice.id);
    audit::record(tx, act, verb, subject, (before.as_ref(), after.as_ref())).await
}

/// Takes back an invoice that asks the customer for a rest: the payer owes it again. What was written off of it is expected
/// again, and what the customer paid of it is the customer's credit, free to be paid back.
///
/// # Errors
/// `ImpossibleDate` at `on` for a day before the customer settled something; those of `books::post`.
pub async fn undo(
    tx: &impl ConnectionTrait,
    act: &Act,
    (settings, (verb, staff_id)): (&Settings, (&'static str, i64)),
    (laid, on, reason): (&allocation::Model, NaiveDate, &str),
) -> Result<()> {
    let moved = laid.moved_to_invoice_id;
    let moved = moved.ok_or_else(|| Error::internal("a rest that was not moved"))?;
    let moved = store::get_invoice(tx, "", moved).await?;
    let told = ("on", Some(on), settings.day_of(act.at));
    let settled = settled(tx, &moved).await?;
    let mut earliest = store::open_since(tx, &moved).await?;
    let latest = settled.iter().map(|row| row.applied_on).max();
    if let Some(day) = latest.filter(|day| *day > earliest.0) {
        earliest = (day, format!("{} was settled on {day}.", moved.number));
    }
    let on = dated::day(tx, told, Some(earliest)).await?;
    for row in store::standing_write_offs(tx, [moved.id]).await? {
        let about = (&row, &moved, on, reason);
        undoing::undo_whole(tx, act, (verb, staff_id), about).await?;
    }
    freeing::free(tx, act, (verb, on), (&moved, &settled)).await?;
    let issue = Issue {
        settings,
        issued_on: on,
        staff_id,
        verb,
    };
    crediting::take_back_moved(tx, act, &issue, (&moved, reason.to_owned())).await?;
    let before = store::receivable_of(tx, laid.invoice_id).await?;
    settling::take_off(tx, act, (laid, on)).await?;
    let after = store::receivable_of(tx, laid.invoice_id).await?;
    let subject = writing::subject(laid.invoice_id);
    audit::record(tx, act, verb, subject, (before.as_ref(), after.as_ref())).await
}

/// What payments and other credit settle of it.
async fn settled(
    tx: &impl ConnectionTrait,
    moved: &invoice::Model,
) -> Result<Vec<allocation::Model>> {
    let rows = store::settled_by(tx, moved.id).await?;
    let rows = rows.into_iter().map(|(row, _)| row);
    Ok(rows
        .filter(|row| row.payment_id.is_some() || row.credit_note_id.is_some())
        .collect())
}
