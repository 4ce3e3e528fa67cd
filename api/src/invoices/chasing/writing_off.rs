//! Write-offs: an open amount that is no longer expected.

use nameplate_entities::kinds::ReceivableKind;
use nameplate_entities::{allocation, invoice, receivable, write_off, write_off_tax};
use nameplate_rules::books::events::{self, Debtor, TaxAmount};
use nameplate_rules::invoice::credit::tax_relief;
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency, search};
use crate::invoices::dated::{self, Dated};
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

/// Writes off what is open on an invoice, as of today or of a day told.
///
/// Where the shop's terms say that the place gives relief, the share of the sales tax in it goes back by level;
/// otherwise all of it is bad debt.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a credit note, or an invoice of which nothing is open;
/// `ImpossibleDate` for a day to come, or before the invoice was issued or opened again; `PeriodClosed`.
/// # Source
/// Streamlined Sales and Use Tax Agreement section 320, for places that give relief.
pub async fn write_off_invoice(
    act: &Act,
    dated: impl Into<Dated<WriteOffInvoice>>,
) -> Result<invoice::Model> {
    let staff_id = act.staff_with(Right::WriteOffInvoice)?;
    let verb = Right::WriteOffInvoice.mutation();
    let dated = dated.into();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &dated.order.idempotency_key, &dated).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_invoice(&tx, "", id).await;
    }
    let Dated { order, on } = dated;
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.finish()?;
    let (invoice, owed) = to_write_off(&tx, order.invoice_id).await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let earliest = store::open_since(&tx, &invoice).await?;
    let on = dated::day(&tx, ("writtenOffOn", on, today), Some(earliest)).await?;
    let open = Cents(owed.open_cents);
    let relief = relief(&tx, &invoice, open).await?;
    let given_back = settling::sum(relief.iter().map(|(_, amount)| *amount))?;
    let bad_debt = settling::less(open, given_back)?;
    let row = write_off::ActiveModel {
        number: Set(numbers::take(&tx, Series::WriteOff).await?),
        invoice_id: Set(invoice.id),
        amount_cents: Set(open.0),
        bad_debt_cents: Set(bad_debt.0),
        reason: Set(reason),
        written_off_on: Set(on),
        written_off_at: Set(act.at),
        written_off_by: Set(staff_id),
        ..Default::default()
    };
    let row = row.insert(&tx).await?;
    write_taxes(&tx, row.id, &relief).await?;
    settle(&tx, act, &row).await?;
    let taxes = relief.into_iter().map(|(level, amount)| TaxAmount {
        level: level.to_string(),
        amount,
    });
    let taxes: Vec<TaxAmount> = taxes.collect();
    let memo = format!("Write-off {} of {}", row.number, invoice.number);
    let entry = events::write_off(Debtor::Customer, bad_debt, &taxes);
    settling::post(&tx, act, (subject(row.id), on, memo), entry).await?;
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    make_findable(&tx, &row, &invoice).await?;
    once.keep(&tx, act, &invoice.id).await?;
    tx.commit().await?;
    Ok(invoice)
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

/// The sales tax that goes back, by level; none where the place gives no relief.
async fn relief(
    tx: &impl ConnectionTrait,
    invoice: &invoice::Model,
    open: Cents,
) -> Result<Vec<(i64, Cents)>> {
    if !terms::terms(tx).await?.write_off_tax_relief {
        return Ok(Vec::new());
    }
    let credits = store::credits_of(tx, invoice.id).await?;
    let totals = credits.iter().map(|row| Cents(row.total_cents));
    let left = settling::sum(totals.chain([Cents(invoice.total_cents)]))?;
    let (levels, taxes): (Vec<i64>, Vec<Cents>) = store::taxes_left(tx, invoice.id)
        .await?
        .into_iter()
        .map(|(level, cents)| (level, Cents(cents)))
        .unzip();
    // What was credited has given its tax back already.
    if left == Cents::ZERO {
        return Ok(Vec::new());
    }
    let shares = tax_relief(open.min(left), left, &taxes)
        .map_err(|refusal| Error::caused("tax of a write-off", refusal))?;
    Ok(levels
        .into_iter()
        .zip(shares)
        .filter(|(_, share)| *share != Cents::ZERO)
        .collect())
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
