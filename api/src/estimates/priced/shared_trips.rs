//! Whether another call on the same visit pays for the trip: asked when an offer is priced, and again when it is frozen
//! and accepted.
//!
//! What stays true: a visit that serves several calls has its trip charged once. Only what a customer accepted pays it,
//! and only a visit that is still planned is shared; a trip that was shared stays so once it was made.

use nameplate_entities::kinds::{ChargeKind, PricedBy, VisitState};
use nameplate_entities::{estimate_line, estimate_option, estimate_revision};
use sea_orm::ConnectionTrait;

use crate::base::{Error, ProblemCode, Result};
use crate::estimates::store::{self, Accepted};
use crate::estimates::writing::offer::Offer;

/// How the visit differs from what an offer says of its trip.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TripChanged {
    /// The offer charges it, and the call with this number pays for it by now.
    PaidBy(String),
    /// The offer leaves it to another call, which does not pay for it.
    NotPaid,
}

impl TripChanged {
    /// What changed and what to do, for the desk.
    fn for_desk(&self) -> String {
        match self {
            Self::PaidBy(number) => format!(
                "The trip of this visit is charged with {number} by now. Revise the estimate, and use that."
            ),
            Self::NotPaid => "The other call on this visit does not pay for the trip any more. Revise the estimate, and \
                use that."
                .to_owned(),
        }
    }

    /// The same for the customer.
    pub fn for_customer(&self) -> &'static str {
        match self {
            Self::PaidBy(_) => {
                "You accepted other work for the same visit, and its trip is charged once only. Please call us for this \
                 estimate without it."
            }
            Self::NotPaid => {
                "The other work for the same visit, which the trip was charged with, has changed. Please call us."
            }
        }
    }
}

/// Number of the other call that pays for the trip of this one's next visit, if one does.
///
/// # Errors
/// Internal only.
pub async fn paid_by(db: &impl ConnectionTrait, call_id: i64) -> Result<Option<String>> {
    let planned = store::trip_charged_with(db, call_id, &[VisitState::Planned]).await?;
    if planned.is_some() || !is_accepted_as_shared(db, call_id).await? {
        return Ok(planned);
    }
    still_paid_by(db, call_id).await
}

/// The same for a trip that was shared before; it may have been made by now.
async fn still_paid_by(db: &impl ConnectionTrait, call_id: i64) -> Result<Option<String>> {
    let states = [VisitState::Planned, VisitState::Done];
    store::trip_charged_with(db, call_id, &states).await
}

/// Whether what was accepted for this call leaves the trip to another call.
async fn is_accepted_as_shared(db: &impl ConnectionTrait, call_id: i64) -> Result<bool> {
    let accepted = store::accepted_revision(db, call_id).await?;
    let Some(option_id) = accepted.and_then(|row| row.accepted_option_id) else {
        return Ok(false);
    };
    Ok(store::lines_of(db, &[option_id])
        .await?
        .iter()
        .any(is_shared))
}

fn is_shared(line: &estimate_line::Model) -> bool {
    line.priced_by == Some(PricedBy::OtherCall)
}

/// What is different by now from what these options of a revision say of the trip.
///
/// # Errors
/// Internal only.
pub async fn changed(
    db: &impl ConnectionTrait,
    call_id: i64,
    (revision, options): (&estimate_revision::Model, &[estimate_option::Model]),
) -> Result<Option<TripChanged>> {
    let offer = as_typed(revision)?;
    let follow_the_visit = options
        .iter()
        .filter(|option| follows_the_visit(offer.as_ref(), option.position))
        .map(|option| option.id)
        .collect::<Vec<_>>();
    if follow_the_visit.is_empty() {
        return Ok(None);
    }
    let lines = store::lines_of(db, &follow_the_visit).await?;
    if lines.iter().any(is_shared) && still_paid_by(db, call_id).await?.is_none() {
        return Ok(Some(TripChanged::NotPaid));
    }
    let charged = follow_the_visit.iter().any(|option_id| {
        let own = lines.iter().filter(|line| line.option_id == *option_id);
        is_charged(own)
    });
    if !charged {
        return Ok(None);
    }
    Ok(paid_by(db, call_id).await?.map(TripChanged::PaidBy))
}

/// Whether what was accepted, or done in its place, charges the trip of the call's visit by the book.
///
/// # Errors
/// Internal only.
pub fn charges_the_visit(work: &Accepted) -> Result<bool> {
    let offer = as_typed(&work.revision)?;
    Ok(follows_the_visit(offer.as_ref(), work.option.position) && is_charged(work.lines.iter()))
}

fn as_typed(revision: &estimate_revision::Model) -> Result<Option<Offer>> {
    let offer = revision.offer_json.as_deref();
    offer
        .map(serde_json::from_str::<Offer>)
        .transpose()
        .map_err(|error| Error::caused("an offer as typed", error))
}

/// Whether these lines of one option charge the visit's trip. Where another call pays for it, what is left is a second
/// trip.
fn is_charged<'a>(lines: impl Iterator<Item = &'a estimate_line::Model> + Clone) -> bool {
    let by_book = |line: &estimate_line::Model| {
        line.kind == ChargeKind::Trip
            && line.priced_by == Some(PricedBy::Book)
            && line.net_cents > 0
    };
    !lines.clone().any(is_shared) && lines.clone().any(by_book)
}

/// Whether a trip of this option is charged or not by what else the visit serves: no price is typed for it, and it is
/// no second trip. One that was drafted before this was kept is taken to be so.
fn follows_the_visit(offer: Option<&Offer>, position: i32) -> bool {
    let at = usize::try_from(position.saturating_sub(1)).ok();
    let option = offer.and_then(|offer| offer.options.get(at?));
    option.is_none_or(|option| {
        option.lines.iter().any(|line| {
            line.kind == ChargeKind::Trip
                && line.unit_price.is_none()
                && line.terms.repeat_reason.is_none()
        })
    })
}

/// Refuses options whose trip is no longer as they say.
///
/// # Errors
/// `Superseded` at `path`, saying what changed.
pub async fn must_hold(
    tx: &impl ConnectionTrait,
    path: &str,
    call_id: i64,
    about: (&estimate_revision::Model, &[estimate_option::Model]),
) -> Result<()> {
    match changed(tx, call_id, about).await? {
        None => Ok(()),
        Some(changed) => {
            let words = changed.for_desk();
            Err(Error::refused(ProblemCode::Superseded, path, words))
        }
    }
}
