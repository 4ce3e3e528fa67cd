//! Issuing invoices: for accepted estimates or what was done in their place, for calls without one, for sales without a
//! call; to one payer or several.

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallState, Payer};
use nameplate_entities::{customer, invoice, receivable, service_call};
use nameplate_rules::invoice::due_on;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::{Act, Checks, Error, ProblemCode, Result};
use crate::coverage;
use crate::estimates::{self, NewOption, WorkDone};
use crate::shop::{self, Settings};

use super::chasing::{reminding, terms};
use super::dated::{self, Dated};
use super::store::{self, Billed};
use covering::ByCoverage;
use dividing::Share;
use offered::Offered;
use sale::Sale;
use writing::Issue;

pub mod certificates;
pub mod charges;
pub mod covering;
pub mod dividing;
pub mod free;
pub mod local;
pub mod mistakes;
mod offered;
pub mod rebilling;
mod sale;
mod shares;
#[cfg(test)]
pub mod testing;
pub mod trips;
mod unoffered;
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
    /// What was done on a call that nothing was accepted for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub option: Option<NewOption>,
    /// Payers beside the call's customer.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub divide: Vec<Share>,
    /// The decision that says who pays what, in place of payers that are named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub coverage: Option<ByCoverage>,
}

/// Bills a call's accepted estimate, or what was done in its place, line for line, in the open transaction; or a completed
/// call without an estimate. Gives the first invoice's row, and one invoice for each payer, that of the call's customer first.
/// What the shop bears of the call is settled above.
///
/// # Errors
/// `NotFound`; `WrongState` for a call that is cancelled, has neither accepted estimate nor lines, or is
/// billed already, or whose certificate another invoice used up, and at `divide` or `coverage` while a deposit for the call is of
/// somebody who would get no bill; `TooMuch` for a bill beyond what was agreed to;
/// `PeriodClosed`; those of a bill without an estimate, of a bill that is divided and of one by a decision; `ImpossibleDate` for a day to come, or before the call was completed, or opened while it is not completed.
pub async fn bill_call(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, staff_id): (&'static str, i64),
    Dated { order, on }: Dated<IssueInvoice>,
) -> Result<(i64, Vec<invoice::Model>)> {
    let mut checks = Checks::new();
    dividing::check(&mut checks, &order.divide);
    covering::check(&mut checks, (order.coverage.as_ref(), &order.divide));
    checks.finish()?;
    let billed = store::billed(tx, "callId", order.call_id).await?;
    may_be_billed(tx, &billed.call).await?;
    let settings = shop::settings(tx).await?;
    let told = ("issuedOn", on, settings.day_of(act.at));
    let issued_on = dated::day(tx, told, Some(work_done_on(&billed.call))).await?;
    let issue = Issue {
        settings: &settings,
        issued_on,
        staff_id,
        verb,
    };
    let work = (order.work_done, order.option);
    // The ways to a sale and to its bills are long; kept on the heap, they do not swell every caller.
    let (sale, offered) = Box::pin(sale_of(tx, &issue, &billed, work)).await?;
    let certificate = sale.header.tax_exemption_id.clone().take().flatten();
    let option_id = offered.as_ref().map(|offered| offered.work().option.id);
    let payers = (order.divide.as_slice(), order.coverage.as_ref());
    let of = (sale, &billed, option_id);
    let invoices = Box::pin(bills(tx, act, &issue, of, payers)).await?;
    if let Some(certificate) = certificate {
        certificates::note(tx, act, (verb, certificate)).await?;
    }
    if let Some(offered) = &offered {
        offered::mark_billed(tx, act, (verb, offered)).await?;
    }
    let first = invoices.first().map(|row| row.id);
    let first = first.ok_or_else(|| Error::internal("a bill to nobody"))?;
    Ok((first, invoices))
}

/// Bills a sale to whoever pays it: the call's customer, payers that are named, or those of a decision.
async fn bills(
    tx: &impl ConnectionTrait,
    act: &Act,
    issue: &Issue<'_>,
    (sale, billed, option_id): (Sale, &Billed, Option<i64>),
    (divide, by): (&[Share], Option<&ByCoverage>),
) -> Result<Vec<invoice::Model>> {
    let invoices = match by {
        Some(by) => {
            Box::pin(covering::bill(
                tx,
                act,
                issue,
                (sale, billed),
                (option_id, by),
            ))
            .await?
        }
        None if divide.is_empty() => {
            nobody_else_pays(tx, billed).await?;
            vec![sale::bill(tx, act, issue, (sale, &billed.customer)).await?]
        }
        None => Box::pin(dividing::bill(tx, act, issue, (sale, billed, divide))).await?,
    };
    let path = by.map_or("divide", |_| "coverage");
    deposits_are_laid(tx, path, billed.call.id, &invoices).await?;
    Ok(invoices)
}

/// What a decision makes others pay is not billed to the customer by oversight.
async fn nobody_else_pays(tx: &impl ConnectionTrait, billed: &Billed) -> Result<()> {
    let call = &billed.call;
    let Some(decision) = coverage::standing_of_call(tx, call.id).await? else {
        return Ok(());
    };
    if coverage::portions_of(tx, decision.id).await?.is_empty() {
        return Ok(());
    }
    Err(Error::refused(
        ProblemCode::WrongState,
        "coverage",
        format!(
            "It was decided that others pay some of call {}. Bill it by that decision, or decide anew.",
            call.number
        ),
    ))
}

/// Before which day a call is not billed, and why.
fn work_done_on(call: &service_call::Model) -> (NaiveDate, String) {
    let number = &call.number;
    if let Some(day) = call.completed_on {
        return (day, format!("Call {number} was completed on {day}."));
    }
    let day = call.opened_on;
    (day, format!("Call {number} was opened on {day}."))
}

/// What is billed for a call: what was accepted or done in its place, else what is typed.
async fn sale_of(
    tx: &impl ConnectionTrait,
    issue: &Issue<'_>,
    billed: &Billed,
    work: (Option<WorkDone>, Option<NewOption>),
) -> Result<(Sale, Option<Offered>)> {
    let number = &billed.call.number;
    let refused =
        |path: &str, message: String| Error::refused(ProblemCode::WrongState, path, message);
    let accepted = estimates::accepted_for_call(tx, billed.call.id).await?;
    match (accepted, work) {
        (Some(accepted), (done, None)) => {
            let (sale, offered) = offered::sale(tx, issue, billed, (accepted, done)).await?;
            Ok((sale, Some(offered)))
        }
        (Some(accepted), (_, Some(_))) => Err(refused(
            "option",
            format!(
                "{} was accepted for call {number}, so the call is billed by it. Draft what was done as its next \
                 revision, and bill that as the work done.",
                accepted.estimate.number
            ),
        )),
        (None, (Some(_), _)) => Err(refused(
            "workDone",
            format!("Call {number} has no accepted estimate that something was done in place of."),
        )),
        (None, (None, None)) => Err(refused(
            "callId",
            format!(
                "Call {number} has no accepted estimate. Send one and have it accepted, or give the lines of the work \
                 done (`option`) once the call is completed; where it was decided who pays, those that were decided on."
            ),
        )),
        (None, (None, Some(option))) => {
            let sale = unoffered::sale(tx, issue, billed, option).await?;
            Ok((sale, None))
        }
    }
}

/// Opens what an invoice asks for. Reminders are of customers: what a warranty payer owes is asked for by its claim.
///
/// # Errors
/// Internal only.
pub async fn owe(tx: &impl ConnectionTrait, row: &invoice::Model) -> Result<receivable::Model> {
    let terms = terms::terms(tx).await?;
    let reminded = reminding::next_on(&terms, row.due_on, None);
    let owed = receivable::ActiveModel {
        next_reminder_on: Set(reminded.filter(|_| row.payer == Payer::Customer)),
        invoice_id: Set(row.id),
        customer_id: Set(row.customer_id),
        due_on: Set(row.due_on),
        open_cents: Set(row.total_cents),
        ..Default::default()
    };
    Ok(owed.insert(tx).await?)
}

/// A call is billed once: it was not called off, and no invoice of it stands.
///
/// One whose invoices were all taken back may be billed again.
async fn may_be_billed(tx: &impl ConnectionTrait, call: &service_call::Model) -> Result<()> {
    let refused = |message: String| Error::refused(ProblemCode::WrongState, "callId", message);
    let number = &call.number;
    if call.state == CallState::Cancelled {
        return Err(refused(format!("Call {number} was cancelled.")));
    }
    match store::standing_invoice(tx, call.id).await? {
        None => Ok(()),
        Some(standing) => Err(refused(format!(
            "Call {number} is billed already by {}.",
            standing.number
        ))),
    }
}

/// Refuses a call whose work cannot be billed without an estimate, as [`bill_call`] does.
///
/// # Errors
/// `WrongState` at `callId`.
pub async fn may_be_billed_as_done(
    db: &impl ConnectionTrait,
    call: &service_call::Model,
) -> Result<()> {
    may_be_billed(db, call).await?;
    if let Some(accepted) = estimates::accepted_for_call(db, call.id).await? {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "callId",
            format!(
                "{} was accepted for call {}, so the call is billed by it.",
                accepted.estimate.number, call.number
            ),
        ));
    }
    unoffered::may_be_billed(db, call).await
}

/// A deposit for the call is of somebody who gets a bill that takes it; otherwise it would lie there, tied to a call that
/// is billed. What a warranty payer owes takes none: money is laid against its claim.
async fn deposits_are_laid(
    tx: &impl ConnectionTrait,
    path: &str,
    call_id: i64,
    invoices: &[invoice::Model],
) -> Result<()> {
    let billed: Vec<i64> = (invoices.iter())
        .filter(|row| row.payer == Payer::Customer)
        .map(|row| row.customer_id)
        .collect();
    match store::deposit_of_another(tx, call_id, &billed).await? {
        None => Ok(()),
        Some(deposit) => Err(Error::refused(
            ProblemCode::WrongState,
            path,
            format!(
                "Deposit {} for this call is of a customer who would get no bill. Name that customer as a payer, or \
                 pay the deposit back first.",
                deposit.number
            ),
        )),
    }
}

/// The day an invoice of this customer falls due: by the customer's own terms, else the shop's. They run from the day it is
/// told, whatever earlier day it is dated: nobody is late with a bill before it came.
///
/// # Errors
/// Internal only.
pub fn falls_due(
    settings: &Settings,
    customer: &customer::Model,
    told_on: NaiveDate,
) -> Result<NaiveDate> {
    let days = customer
        .terms_days
        .unwrap_or(settings.row.payment_terms_days);
    let days = u32::try_from(days).map_err(|error| Error::caused("payment terms", error))?;
    due_on(told_on, days).map_err(|refusal| Error::caused("payment terms", refusal))
}
