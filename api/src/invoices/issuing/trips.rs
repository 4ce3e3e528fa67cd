//! The trip of a visit that served several calls: one of them pays for it, whichever is billed first.
//!
//! What stays true: a call is charged a trip by the book while one of its own trips was paid by nobody else.

use nameplate_entities::kinds::{CallState, VisitState};
use nameplate_entities::service_call;
use sea_orm::ConnectionTrait;

use crate::base::{Error, ProblemCode, Result};
use crate::estimates::{self, Accepted};
use crate::invoices::store::{self, PaidTrip};

/// Refuses to bill a trip by the book that another call was billed for.
///
/// # Errors
/// `Superseded` at `callId`, with both ways out of it.
pub async fn must_be_unbilled(
    tx: &impl ConnectionTrait,
    call: &service_call::Model,
    work: &Accepted,
) -> Result<()> {
    if !estimates::charges_the_visit(work)? {
        return Ok(());
    }
    let billed = store::trips_billed_with(tx, call.id).await?;
    let Some(PaidTrip { call, invoice, .. }) = all_paid(tx, call, billed).await? else {
        return Ok(());
    };
    let invoice = invoice.unwrap_or_default();
    Err(Error::refused(
        ProblemCode::Superseded,
        "callId",
        format!(
            "The trip of this visit was billed with call {call} by {invoice}. Draft the next revision of the estimate \
             without it, and bill that as the work done; or take the trip off {invoice} by a credit note."
        ),
    ))
}

/// Number of the other call that pays for the trip of this one, by what it was billed or is still to be billed.
///
/// # Errors
/// Internal only.
pub async fn paid_with(
    db: &impl ConnectionTrait,
    call: &service_call::Model,
) -> Result<Option<String>> {
    let mut paid = store::trips_billed_with(db, call.id).await?;
    paid.extend(store::trips_accepted_with(db, call.id).await?);
    let first = all_paid(db, call, paid).await?;
    Ok(first.map(|trip| trip.call))
}

/// Who pays first, if others pay for every trip of this call.
///
/// Once its work is done only trips that were made count, if any is said to have been.
async fn all_paid(
    db: &impl ConnectionTrait,
    call: &service_call::Model,
    paid: Vec<PaidTrip>,
) -> Result<Option<PaidTrip>> {
    if paid.is_empty() {
        return Ok(None);
    }
    let mut trips = store::trips_of(db, call.id).await?;
    let is_made = |trip: &store::Trip| trip.state == VisitState::Done;
    if call.state == CallState::Completed && trips.iter().any(is_made) {
        trips.retain(is_made);
    }
    let of = |trip: &store::Trip| paid.iter().find(|paid| paid.visit_id == trip.visit_id);
    if !trips.iter().all(|trip| of(trip).is_some()) {
        return Ok(None);
    }
    Ok(trips.iter().find_map(of).cloned())
}
