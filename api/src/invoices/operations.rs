//! Issuing invoices and taking them back.

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallState, EstimateState, Payer, ReceivableKind};
use nameplate_entities::{allocation, customer, invoice, receivable};
use nameplate_rules::books::events;
use nameplate_rules::invoice::{due_on, mirror};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::books;
use crate::customers;
use crate::estimates::{self, Accepted, WorkDone};
use crate::shop::{self, Settings};

use super::content::{self, Content};
use super::issue::{Issue, Rows, amounts_of, post_if_any, tell, write};

use super::store::{self, Billed};
use super::{certificates, local, words};

/// A call to bill.
#[derive(Clone, Debug, Serialize)]
pub struct IssueInvoice {
    #[serde(skip)]
    pub idempotency_key: String,
    pub call_id: i64,
    /// What was done, where that is not what was accepted.
    pub work_done: Option<WorkDone>,
}

/// Bills a call's accepted estimate, or what was done in its place, line for line.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a call that is cancelled, has no accepted estimate or is billed
/// already, or whose certificate another invoice used up; `TooMuch` for a bill beyond what was agreed to;
/// `PeriodClosed`.
pub async fn issue_invoice(act: &Act, order: IssueInvoice) -> Result<invoice::Model> {
    let staff_id = act.staff_with(Right::IssueInvoice)?;
    let verb = Right::IssueInvoice.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_invoice(&tx, "", id).await;
    }
    let billed = store::billed(&tx, "callId", order.call_id).await?;
    let accepted = to_bill(&tx, &billed).await?;
    let settings = shop::settings(&tx).await?;
    let issued_on = settings.day_of(act.at);
    books::check_open(&tx, "", issued_on).await?;
    let done = match order.work_done {
        Some(done) => Some(estimates::work_done(&tx, done, &accepted, issued_on).await?),
        None => None,
    };
    let work = done.as_ref().unwrap_or(&accepted);
    if let Some(certificate) = work.option.tax_exemption_id {
        certificates::must_be_unused(&tx, certificate).await?;
    }
    let issue = Issue {
        settings: &settings,
        issued_on,
        staff_id,
        verb,
    };
    let header = invoice::ActiveModel {
        kind: Set(ReceivableKind::Invoice),
        number: Set(numbers::take(&tx, Series::Invoice).await?),
        call_id: Set(Some(billed.call.id)),
        customer_id: Set(billed.customer.id),
        payer: Set(Payer::Customer),
        estimate_revision_id: Set(Some(accepted.revision.id)),
        billed_option_id: Set(done.as_ref().map(|done| done.option.id)),
        tax_jurisdiction_id: Set(work.revision.tax_jurisdiction_id),
        due_on: Set(falls_due(&settings, &billed.customer, issued_on)?),
        ..Default::default()
    };
    let rows = Rows::of_estimate(work);
    let words = agreed_words(&tx, &issue, (&billed, &accepted, work), &rows).await?;
    let row = write(&tx, act, &issue, (header, rows, words)).await?;
    receivable::ActiveModel {
        invoice_id: Set(row.id),
        customer_id: Set(row.customer_id),
        due_on: Set(row.due_on),
        open_cents: Set(row.total_cents),
    }
    .insert(&tx)
    .await?;
    if let Some(certificate) = work.option.tax_exemption_id {
        certificates::note(&tx, act, (verb, certificate)).await?;
    }
    if accepted.revision.state != EstimateState::Invoiced {
        estimates::mark_invoiced(&tx, act, &accepted.revision).await?;
    }
    if let Some(done) = &done {
        estimates::close_work_done(&tx, act, &done.revision).await?;
    }
    let entry = events::invoice_issued(&amounts_of(&tx, &row).await?);
    let memo = format!("Invoice {}", row.number);
    post_if_any(&tx, act, &row, (memo, entry)).await?;
    tell(&tx, act, &row, &billed.customer).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(row)
}

/// What the invoice says beside its figures, once it is known that the customer agreed to those and that the
/// local rules let it go out.
async fn agreed_words(
    tx: &impl ConnectionTrait,
    issue: &Issue<'_>,
    (billed, accepted, work): (&Billed, &Accepted, &Accepted),
    rows: &Rows,
) -> Result<Content> {
    let (settings, on) = (issue.settings, issue.issued_on);
    let about = (billed.call.id, &accepted.option);
    estimates::must_be_agreed(tx, settings, about, rows.amounts()?, on).await?;
    let consents = estimates::consents_of(tx, accepted.revision.id).await?;
    let words = Content {
        issued_on: on,
        lines: rows.lines.iter().map(content::line).collect(),
        consents: estimates::consent_sentences(tx, settings, &consents).await?,
        printed_as: estimates::printed_as(work),
        found: work.revision.found_text.clone(),
        ..words::of_invoice(settings, billed, accepted)
    };
    let about = (&billed.call, &billed.address);
    let held = local::held(tx, about, &words, issue.staff_id).await?;
    Ok(Content {
        local_lines: held.must_hold()?,
        ..words
    })
}

/// The accepted estimate of a call that may be billed now.
///
/// One whose invoice was taken back may be billed again.
async fn to_bill(tx: &impl ConnectionTrait, billed: &Billed) -> Result<Accepted> {
    let refused = |message: String| Error::refused(ProblemCode::WrongState, "callId", message);
    let number = &billed.call.number;
    if billed.call.state == CallState::Cancelled {
        return Err(refused(format!("Call {number} was cancelled.")));
    }
    let accepted = estimates::accepted_for_call(tx, billed.call.id)
        .await?
        .ok_or_else(|| {
            refused(format!(
                "Call {number} has no accepted estimate; send one and have it accepted."
            ))
        })?;
    if accepted.revision.state == EstimateState::Invoiced
        && let Some(standing) = store::standing_invoice(tx, accepted.revision.id).await?
    {
        return Err(refused(format!(
            "Call {number} is billed already by {}.",
            standing.number
        )));
    }
    Ok(accepted)
}

fn falls_due(
    settings: &Settings,
    customer: &customer::Model,
    issued_on: NaiveDate,
) -> Result<NaiveDate> {
    let days = customer
        .terms_days
        .unwrap_or(settings.row.payment_terms_days);
    let days = u32::try_from(days).map_err(|error| Error::caused("payment terms", error))?;
    due_on(issued_on, days).map_err(|refusal| Error::caused("payment terms", refusal))
}

/// An invoice to take back.
#[derive(Clone, Debug, Serialize)]
pub struct CreditInvoice {
    #[serde(skip)]
    pub idempotency_key: String,
    pub invoice_id: i64,
    pub reason: String,
}

/// Takes a whole invoice back by its mirror image.
///
/// What is open on it is settled; what was paid on it becomes the customer's credit.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a credit note or an invoice taken back already; `PeriodClosed`.
pub async fn credit_invoice(act: &Act, order: CreditInvoice) -> Result<invoice::Model> {
    let staff_id = act.staff_with(Right::CreditInvoice)?;
    let verb = Right::CreditInvoice.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_invoice(&tx, "", id).await;
    }
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.finish()?;
    let original = to_credit(&tx, order.invoice_id).await?;
    let settings = shop::settings(&tx).await?;
    let issued_on = settings.day_of(act.at);
    books::check_open(&tx, "", issued_on).await?;
    let issue = Issue {
        settings: &settings,
        issued_on,
        staff_id,
        verb,
    };
    let said = Content::of(&original)?;
    let image = mirror(&said.draft()?).map_err(|refusal| Error::caused("mirror", refusal))?;
    let rows = Rows {
        lines: store::lines_of(&tx, original.id).await?,
        taxes: store::taxes_of(&tx, original.id).await?,
    };
    let header = invoice::ActiveModel {
        kind: Set(ReceivableKind::CreditNote),
        number: Set(numbers::take(&tx, Series::CreditNote).await?),
        call_id: Set(original.call_id),
        customer_id: Set(original.customer_id),
        payer: Set(original.payer),
        estimate_revision_id: Set(original.estimate_revision_id),
        credits_invoice_id: Set(Some(original.id)),
        tax_jurisdiction_id: Set(original.tax_jurisdiction_id),
        due_on: Set(issued_on),
        reason: Set(Some(reason.clone())),
        ..Default::default()
    };
    let words = Content {
        kind: ReceivableKind::CreditNote,
        corrects: Some(original.number.clone()),
        reason: Some(reason),
        ..said
    };
    let row = write(&tx, act, &issue, (header, rows.mirrored(&image)?, words)).await?;
    let open_cents = settle(&tx, act, &original, &row).await?;
    certificates::give_back(&tx, act, (verb, &original)).await?;
    let amounts = amounts_of(&tx, &original).await?;
    let entry = events::credit_note_settling(&amounts, Cents(open_cents));
    let memo = format!("Credit note {} for {}", row.number, original.number);
    post_if_any(&tx, act, &row, (memo, entry)).await?;
    let customer = customers::get_customer(&tx, "", row.customer_id).await?;
    tell(&tx, act, &row, &customer).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(row)
}

/// The invoice, if it stands.
async fn to_credit(tx: &impl ConnectionTrait, invoice_id: i64) -> Result<invoice::Model> {
    let path = "invoiceId";
    let original = store::get_invoice(tx, path, invoice_id).await?;
    let refused = |message: String| Error::refused(ProblemCode::WrongState, path, message);
    if original.kind == ReceivableKind::CreditNote {
        let message = format!("{} is a credit note itself.", original.number);
        return Err(refused(message));
    }
    match store::credit_of(tx, original.id).await? {
        Some(credit) => Err(refused(format!(
            "{} was taken back already by {}.",
            original.number, credit.number
        ))),
        None => Ok(original),
    }
}

/// Lays the credit note against what is open on the invoice; gives how much that was.
async fn settle(
    tx: &impl ConnectionTrait,
    act: &Act,
    original: &invoice::Model,
    credit: &invoice::Model,
) -> Result<i64> {
    let open_cents = store::receivable_of(tx, original.id)
        .await?
        .ok_or_else(|| Error::internal("an invoice without its receivable"))?
        .open_cents;
    if open_cents == 0 {
        return Ok(0);
    }
    allocation::ActiveModel {
        credit_note_id: Set(Some(credit.id)),
        invoice_id: Set(original.id),
        amount_cents: Set(open_cents),
        allocated_at: Set(act.at),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    receivable::ActiveModel {
        invoice_id: Set(original.id),
        open_cents: Set(0),
        ..Default::default()
    }
    .update(tx)
    .await?;
    Ok(open_cents)
}
