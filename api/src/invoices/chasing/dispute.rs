//! Invoices that a customer disputes. They stay owed.

use nameplate_entities::kinds::ReceivableKind;
use nameplate_entities::{invoice, receivable};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, audit};
use crate::invoices::issuing::writing;
use crate::invoices::store;
use crate::shop;

/// That a customer disputes an invoice.
#[derive(Clone, Debug)]
pub struct DisputeInvoice {
    pub invoice_id: i64,
    /// What the customer says is wrong.
    pub because: String,
}

/// Marks an invoice as disputed from today on.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a credit note, or an invoice of which nothing is open.
pub async fn dispute_invoice(act: &Act, order: DisputeInvoice) -> Result<invoice::Model> {
    act.staff_with(Right::DisputeInvoice)?;
    let mut checks = Checks::new();
    let because = checks.text("because", &order.because, LINE_MAX);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let on = shop::settings(&tx).await?.day_of(act.at);
    let (invoice, before) = owed(&tx, order.invoice_id).await?;
    if before.open_cents == 0 {
        let message = format!("Nothing is open on {}.", invoice.number);
        return Err(refused(message));
    }
    let verb = Right::DisputeInvoice.mutation();
    let mark = (Some(before.disputed_on.unwrap_or(on)), Some(because));
    written(&tx, act, (verb, before), mark).await?;
    tx.commit().await?;
    Ok(invoice)
}

/// Takes the mark of a dispute off an invoice.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one that is not disputed.
pub async fn settle_dispute(act: &Act, invoice_id: i64) -> Result<invoice::Model> {
    act.staff_with(Right::SettleDispute)?;
    let tx = act.app.db.write().await?;
    let (invoice, before) = owed(&tx, invoice_id).await?;
    if before.disputed_on.is_none() {
        return Err(refused(format!("{} is not disputed.", invoice.number)));
    }
    let verb = Right::SettleDispute.mutation();
    written(&tx, act, (verb, before), (None, None)).await?;
    tx.commit().await?;
    Ok(invoice)
}

fn refused(message: String) -> Error {
    Error::refused(ProblemCode::WrongState, "invoiceId", message)
}

async fn owed(
    tx: &impl ConnectionTrait,
    invoice_id: i64,
) -> Result<(invoice::Model, receivable::Model)> {
    let invoice = store::get_invoice(tx, "invoiceId", invoice_id).await?;
    if invoice.kind == ReceivableKind::CreditNote {
        return Err(refused(format!("{} is a credit note.", invoice.number)));
    }
    let owed = store::receivable_of(tx, invoice.id).await?;
    let owed = owed.ok_or_else(|| Error::internal("an invoice without its receivable"))?;
    Ok((invoice, owed))
}

async fn written(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, before): (&'static str, receivable::Model),
    (on, because): (Option<chrono::NaiveDate>, Option<String>),
) -> Result<()> {
    let mut row = before.clone().into_active_model();
    row.disputed_on = Set(on);
    row.disputed_because = Set(because);
    let after = row.update(tx).await?;
    let subject = writing::subject(after.invoice_id);
    audit::record(tx, act, verb, subject, (Some(&before), Some(&after))).await
}
