//! Issuing invoices for accepted estimates, or for what was done in their place.

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallState, EstimateState, Payer, ReceivableKind};
use nameplate_entities::{customer, invoice, receivable};
use nameplate_rules::books::events;
use nameplate_rules::invoice::due_on;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::numbers::{self, Series};
use crate::base::{Act, Error, ProblemCode, Result, Right, idempotency};
use crate::books;
use crate::estimates::{self, Accepted, WorkDone};
use crate::shop::{self, Settings};

use super::chasing::{reminding, terms};
use super::content::{self, Content};
use super::receiving::credit;
use super::store::{self, Billed};
use writing::{Issue, Rows, post_if_any, tell, write};

pub mod certificates;
pub mod charges;
pub mod free;
pub mod local;
pub mod mistakes;
mod words;
pub mod writing;

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
    let amounts = rows.document_amounts()?;
    let row = write(&tx, act, &issue, (header, rows, words)).await?;
    let owed = owe(&tx, &row).await?;
    if let Some(certificate) = work.option.tax_exemption_id {
        certificates::note(&tx, act, (verb, certificate)).await?;
    }
    if accepted.revision.state == EstimateState::Invoiced {
        estimates::mark_billing(&tx, act, verb, (accepted.revision.id, false)).await?;
    } else {
        estimates::mark_invoiced(&tx, act, &accepted.revision).await?;
    }
    if let Some(done) = &done {
        estimates::close_work_done(&tx, act, &done.revision).await?;
    }
    let entry = events::invoice_issued(&amounts);
    let memo = format!("Invoice {}", row.number);
    post_if_any(&tx, act, &row, (memo, entry)).await?;
    credit::lay_by_itself(&tx, act, &row, owed).await?;
    tell(&tx, act, &row, &billed.customer).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(row)
}

/// Opens what an invoice asks for.
///
/// # Errors
/// Internal only.
pub async fn owe(tx: &impl ConnectionTrait, row: &invoice::Model) -> Result<receivable::Model> {
    let terms = terms::terms(tx).await?;
    let owed = receivable::ActiveModel {
        next_reminder_on: Set(reminding::next_on(&terms, row.due_on, None)),
        invoice_id: Set(row.id),
        customer_id: Set(row.customer_id),
        due_on: Set(row.due_on),
        open_cents: Set(row.total_cents),
        ..Default::default()
    };
    Ok(owed.insert(tx).await?)
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

/// The day an invoice of this customer falls due: by the customer's own terms, else the shop's.
///
/// # Errors
/// Internal only.
pub fn falls_due(
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
