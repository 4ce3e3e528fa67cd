//! A call billed by its accepted estimate, or by what was done in its place.

use nameplate_entities::invoice;
use nameplate_entities::kinds::EstimateState;
use sea_orm::{ActiveValue::Set, ConnectionTrait};

use crate::base::{Act, Result};
use crate::estimates::{self, Accepted, WorkDone};
use crate::invoices::content::{self, Content};
use crate::invoices::store::Billed;

use super::sale::Sale;
use super::writing::{Issue, Rows};
use super::{certificates, local, trips, words};

/// What was accepted for a call, and what is billed in its place if that is something else.
pub struct Offered {
    pub accepted: Accepted,
    pub done: Option<Accepted>,
}

impl Offered {
    /// What is billed.
    pub fn work(&self) -> &Accepted {
        self.done.as_ref().unwrap_or(&self.accepted)
    }
}

/// The sale of an accepted estimate, once it is known that the customer agreed to it.
///
/// # Errors
/// Those of `estimates::work_done`; `TooMuch` for a bill beyond what was agreed to; `SettingMissing` for what the local
/// rules want on the bill; `Superseded` when another call was billed the trip.
pub async fn sale(
    tx: &impl ConnectionTrait,
    issue: &Issue<'_>,
    billed: &Billed,
    (accepted, done): (Accepted, Option<WorkDone>),
) -> Result<(Sale, Offered)> {
    let done = match done {
        Some(done) => Some(estimates::work_done(tx, done, &accepted, issue.issued_on).await?),
        None => None,
    };
    let offered = Offered { accepted, done };
    let work = offered.work();
    if let Some(certificate) = work.option.tax_exemption_id {
        certificates::must_be_unused(tx, "callId", certificate).await?;
    }
    trips::must_be_unbilled(tx, &billed.call, work).await?;
    let header = invoice::ActiveModel {
        call_id: Set(Some(billed.call.id)),
        estimate_revision_id: Set(Some(offered.accepted.revision.id)),
        billed_option_id: Set(offered.done.as_ref().map(|done| done.option.id)),
        tax_jurisdiction_id: Set(work.revision.tax_jurisdiction_id),
        tax_exemption_id: Set(work.option.tax_exemption_id),
        service_address_id: Set(Some(billed.address.id)),
        ..Default::default()
    };
    let rows = Rows::of_estimate(work);
    let words = agreed_words(tx, issue, (billed, &offered), &rows).await?;
    let sale = Sale {
        header,
        rows,
        words,
    };
    Ok((sale, offered))
}

/// Notes that an offer is billed.
///
/// # Errors
/// Internal only.
pub async fn mark_billed(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, offered): (&'static str, &Offered),
) -> Result<()> {
    let revision = &offered.accepted.revision;
    if revision.state == EstimateState::Invoiced {
        estimates::mark_billing(tx, act, verb, (revision.id, false)).await?;
    } else {
        estimates::mark_invoiced(tx, act, revision).await?;
    }
    match &offered.done {
        Some(done) => estimates::close_work_done(tx, act, &done.revision).await,
        None => Ok(()),
    }
}

/// What the invoice says beside its figures, once it is known that the customer agreed to those and that the
/// local rules let it go out.
async fn agreed_words(
    tx: &impl ConnectionTrait,
    issue: &Issue<'_>,
    (billed, offered): (&Billed, &Offered),
    rows: &Rows,
) -> Result<Content> {
    let (settings, on) = (issue.settings, issue.issued_on);
    let (accepted, work) = (&offered.accepted, offered.work());
    let about = (billed.call.id, &accepted.option);
    estimates::must_be_agreed(tx, settings, about, rows.amounts()?, on).await?;
    let consents = estimates::consents_of(tx, accepted.revision.id).await?;
    let words = Content {
        issued_on: on,
        lines: rows.lines.iter().map(content::line).collect(),
        consents: estimates::consent_sentences(tx, settings, &consents).await?,
        printed_as: estimates::printed_as(work),
        found: work.revision.found_text.clone(),
        estimate: format!(
            "{}, revision {}",
            accepted.estimate.number, accepted.revision.revision
        ),
        ..words::of_call(settings, billed)
    };
    local::held_words(tx, (Some(&billed.call), &billed.address), words, issue).await
}
