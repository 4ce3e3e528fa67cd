//! A completed call billed without an estimate: a small job, done and billed on the spot.
//!
//! What stays true: where something was accepted the call is billed by that, never around it; and what the place asks
//! before work is done without an accepted offer must be on record.

use nameplate_entities::kinds::CallState;
use nameplate_entities::{invoice, service_call};
use sea_orm::{ActiveValue::Set, ConnectionTrait};

use crate::base::{Error, ProblemCode, Result};
use crate::estimates::{self, NewOption, Workplace};
use crate::invoices::content::{self, Content};
use crate::invoices::store::{self, Billed};

use super::sale::Sale;
use super::writing::{Issue, Rows};
use super::{certificates, local, trips, words};

/// The sale of a call's work as typed, priced and taxed by the book and rules of today.
///
/// # Errors
/// `WrongState` for a call that is not completed, or with an offer that waits for its answer; `TooMuch` where the place
/// asks for a consent that is not recorded; `SettingMissing` for taxes nobody confirmed or words the place wants on the
/// bill; problems of the lines at `option`.
pub async fn sale(
    tx: &impl ConnectionTrait,
    issue: &Issue<'_>,
    billed: &Billed,
    option: NewOption,
) -> Result<Sale> {
    let (settings, on) = (issue.settings, issue.issued_on);
    may_be_billed(tx, &billed.call).await?;
    let place = Workplace {
        address: &billed.address,
        customer_id: billed.customer.id,
        built_in: billed.appliance.built_in,
        trip_paid_with: trips::paid_with(tx, &billed.call).await?,
        on,
        path: "callId",
    };
    let work = estimates::price_work(tx, place, option).await?;
    if let Some(certificate) = work.option.certificate_id {
        certificates::must_be_unused(tx, "callId", certificate).await?;
    }
    let header = invoice::ActiveModel {
        call_id: Set(Some(billed.call.id)),
        tax_jurisdiction_id: Set(work.jurisdiction.row.id),
        tax_exemption_id: Set(work.option.certificate_id),
        price_book_id: Set(Some(work.price_book_id)),
        service_address_id: Set(Some(billed.address.id)),
        ..Default::default()
    };
    let printed_as = work.printed_as();
    let rows = Rows::of_work(work);
    let call_id = billed.call.id;
    estimates::must_be_asked_for(tx, settings, call_id, rows.amounts()?, on).await?;
    let consents = estimates::consents_without_offer(tx, call_id).await?;
    let words = Content {
        issued_on: on,
        lines: rows.lines.iter().map(content::line).collect(),
        consents: estimates::consent_sentences(tx, settings, &consents).await?,
        found: store::found_on(tx, call_id).await?,
        printed_as,
        ..words::of_call(settings, billed)
    };
    let words = local::held_words(tx, (Some(&billed.call), &billed.address), words, issue).await?;
    Ok(Sale {
        header,
        rows,
        words,
    })
}

/// Refuses a call that is not completed, or that something waits for an answer on.
///
/// # Errors
/// `WrongState` at `callId`.
pub async fn may_be_billed(tx: &impl ConnectionTrait, call: &service_call::Model) -> Result<()> {
    let refused = |message: String| Error::refused(ProblemCode::WrongState, "callId", message);
    let number = &call.number;
    if call.state != CallState::Completed {
        return Err(refused(format!(
            "Call {number} is not completed. Complete it first; its work is billed as it was done."
        )));
    }
    match estimates::waiting_for_answer(tx, call.id).await? {
        None => Ok(()),
        Some(estimate) => Err(refused(format!(
            "{estimate} waits for the customer's answer. Record the answer first."
        ))),
    }
}
