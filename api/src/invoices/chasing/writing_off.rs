//! Write-offs: an open amount that is no longer expected.

use chrono::NaiveDate;
use nameplate_entities::kinds::{ReceivableKind, WriteOffKind};
use nameplate_entities::{allocation, invoice, receivable, write_off, write_off_tax};
use nameplate_rules::books::events::{self, TaxAmount};
use nameplate_rules::books::{BooksRefusal, Entry};
use nameplate_rules::invoice::credit::{GivenUp, further_relief};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, ProblemCode, Result, search};
use crate::invoices::dated;
use crate::invoices::receiving::settling;
use crate::invoices::store;
use crate::{customers, shop};

use super::terms;

/// An invoice whose open amount is no longer expected.
#[derive(Clone, Debug, Serialize)]
pub struct WriteOffInvoice {
    #[serde(skip)]
    pub idempotency_key: String,
    pub invoice_id: i64,
    pub reason: String,
}

/// Writes off what is open on an invoice, as of today or of a day told, in a transaction that is open.
///
/// Where the shop's terms say that the place gives relief, the share of the sales tax in it goes back by level;
/// otherwise all of it is bad debt.
///
/// # Errors
/// `NotFound`; `WrongState` for a credit note, or an invoice of which nothing is open; `ImpossibleDate` for a day to come,
/// or before the invoice was issued or opened again; `PeriodClosed`.
/// # Source
/// Streamlined Sales and Use Tax Agreement section 320, for places that give relief.
pub async fn write_off(
    tx: &impl ConnectionTrait,
    act: &Act,
    by: (&'static str, i64),
    (order, on): (&WriteOffInvoice, Option<NaiveDate>),
) -> Result<invoice::Model> {
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.finish()?;
    let (invoice, owed) = to_write_off(tx, order.invoice_id).await?;
    let today = shop::settings(tx).await?.day_of(act.at);
    let earliest = store::open_since(tx, &invoice).await?;
    let on = dated::day(tx, ("writtenOffOn", on, today), Some(earliest)).await?;
    let loss = Loss {
        kind: WriteOffKind::BadDebt,
        amount: Cents(owed.open_cents),
        reason,
        on,
    };
    lose(tx, act, by, (&invoice, loss)).await?;
    Ok(invoice)
}

/// What the shop no longer expects of an invoice.
pub struct Loss {
    pub kind: WriteOffKind,
    pub amount: Cents,
    pub reason: String,
    pub on: NaiveDate,
}

/// Writes off so much of what is open on an invoice: row, tax given back, entry.
///
/// # Errors
/// Those of `books::post`.
pub async fn lose(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, staff_id): (&'static str, i64),
    (invoice, loss): (&invoice::Model, Loss),
) -> Result<write_off::Model> {
    let relief = relief(tx, invoice, loss.amount).await?;
    let given_back = settling::sum(relief.iter().map(|(_, amount)| *amount))?;
    let row = write_off::ActiveModel {
        number: Set(numbers::take(tx, Series::WriteOff).await?),
        invoice_id: Set(invoice.id),
        kind: Set(loss.kind),
        amount_cents: Set(loss.amount.0),
        bad_debt_cents: Set(settling::less(loss.amount, given_back)?.0),
        reason: Set(loss.reason),
        written_off_on: Set(loss.on),
        written_off_at: Set(act.at),
        written_off_by: Set(staff_id),
        ..Default::default()
    };
    let row = row.insert(tx).await?;
    write_taxes(tx, row.id, &relief).await?;
    settle(tx, act, &row).await?;
    let memo = format!("Write-off {} of {}", row.number, invoice.number);
    let entry = entry_of(&row, invoice, (Cents(row.bad_debt_cents), &relief));
    settling::post(tx, act, (subject(row.id), loss.on, memo), entry).await?;
    audit::created(tx, act, verb, subject(row.id), &row).await?;
    make_findable(tx, &row, invoice).await?;
    Ok(row)
}

/// The entry of a write-off, or of a part of it: what the shop bears, and the tax that goes back by level.
///
/// # Errors
/// Those of the rules.
pub fn entry_of(
    row: &write_off::Model,
    invoice: &invoice::Model,
    (borne, relief): (Cents, &[(i64, Cents)]),
) -> std::result::Result<Entry, BooksRefusal> {
    let taxes = relief.iter().map(|(level, amount)| TaxAmount {
        level: level.to_string(),
        amount: *amount,
    });
    let taxes: Vec<TaxAmount> = taxes.collect();
    match row.kind {
        WriteOffKind::BadDebt => events::write_off(store::debtor(invoice.payer), borne, &taxes),
        WriteOffKind::ClaimShortfall => events::claim_borne(borne, &taxes),
    }
}

async fn make_findable(
    tx: &impl ConnectionTrait,
    row: &write_off::Model,
    invoice: &invoice::Model,
) -> Result<()> {
    let customer = customers::get_customer(tx, "", invoice.customer_id).await?;
    let title = format!("{}, {}, {}", row.number, invoice.number, customer.name);
    search::index(tx, subject(row.id), &title, &[&row.number, &customer.name]).await
}

/// A write-off as the subject of audit and entry.
pub fn subject(id: i64) -> Subject {
    Subject {
        kind: "write_off",
        id,
    }
}

async fn to_write_off(
    tx: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<(invoice::Model, receivable::Model)> {
    let invoice = store::get_invoice(tx, "invoiceId", invoice_id).await?;
    let refused = |message: String| Error::refused(ProblemCode::WrongState, "invoiceId", message);
    if invoice.kind == ReceivableKind::CreditNote {
        return Err(refused(format!("{} is a credit note.", invoice.number)));
    }
    let owed = store::receivable_of(tx, invoice.id).await?;
    let owed = owed.ok_or_else(|| Error::internal("an invoice without its receivable"))?;
    if owed.open_cents == 0 {
        return Err(refused(format!("Nothing is open on {}.", invoice.number)));
    }
    Ok((invoice, owed))
}

/// The sales tax that goes back with so much of an invoice, by level; none where the place gives no relief. Of what was
/// moved from a warranty payer's invoice to a customer it is the tax of that sale.
async fn relief(
    tx: &impl ConnectionTrait,
    invoice: &invoice::Model,
    amount: Cents,
) -> Result<Vec<(i64, Cents)>> {
    if !terms::terms(tx).await?.write_off_tax_relief {
        return Ok(Vec::new());
    }
    let sale = match invoice.moved_from_invoice_id {
        Some(id) => store::get_invoice(tx, "", id).await?,
        None => invoice.clone(),
    };
    let credits = store::credits_of(tx, sale.id).await?;
    let totals = credits.iter().map(|row| Cents(row.total_cents));
    let left = settling::sum(totals.chain([Cents(sale.total_cents)]))?;
    let (levels, taxes): (Vec<i64>, Vec<Cents>) = store::taxes_left(tx, sale.id)
        .await?
        .into_iter()
        .map(|(level, cents)| (level, Cents(cents)))
        .unzip();
    let (given_up, given) = given_up(tx, sale.id, &levels).await?;
    let before = GivenUp {
        amount: given_up.min(left),
        taxes: &given,
    };
    // What was credited has given its tax back already.
    let part = amount.min(settling::less(left, before.amount)?);
    if part == Cents::ZERO {
        return Ok(Vec::new());
    }
    let shares = further_relief(part, before, (left, &taxes))
        .map_err(|refusal| Error::caused("tax of a write-off", refusal))?;
    Ok(levels
        .into_iter()
        .zip(shares)
        .filter(|(_, share)| *share != Cents::ZERO)
        .collect())
}

/// What stands written off of a sale, and the tax that it gave back at these levels.
async fn given_up(
    tx: &impl ConnectionTrait,
    sale_id: i64,
    levels: &[i64],
) -> Result<(Cents, Vec<Cents>)> {
    let ids = store::with_moved(tx, sale_id).await?;
    let mut amount = Cents::ZERO;
    let mut taxes = vec![Cents::ZERO; levels.len()];
    for row in store::standing_write_offs(tx, ids).await? {
        let left = store::left_of_write_off(tx, &row).await?;
        amount = settling::sum([amount, left.sum()?])?;
        for (sum, level) in taxes.iter_mut().zip(levels) {
            let of_level = left.taxes.iter().filter(|(of, _)| of == level);
            *sum = settling::sum(of_level.map(|(_, tax)| *tax).chain([*sum]))?;
        }
    }
    Ok((amount, taxes))
}

async fn write_taxes(
    tx: &impl ConnectionTrait,
    write_off_id: i64,
    relief: &[(i64, Cents)],
) -> Result<()> {
    if relief.is_empty() {
        return Ok(());
    }
    let rows = relief
        .iter()
        .map(|(level, amount)| write_off_tax::ActiveModel {
            write_off_id: Set(write_off_id),
            tax_level_id: Set(*level),
            amount_cents: Set(amount.0),
            ..Default::default()
        });
    write_off_tax::Entity::insert_many(rows)
        .exec_without_returning(tx)
        .await?;
    Ok(())
}

/// Closes the open amount.
async fn settle(tx: &impl ConnectionTrait, act: &Act, row: &write_off::Model) -> Result<()> {
    allocation::ActiveModel {
        write_off_id: Set(Some(row.id)),
        invoice_id: Set(row.invoice_id),
        amount_cents: Set(row.amount_cents),
        applied_on: Set(row.written_off_on),
        allocated_at: Set(act.at),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    settling::open_more(tx, row.invoice_id, -row.amount_cents).await
}
