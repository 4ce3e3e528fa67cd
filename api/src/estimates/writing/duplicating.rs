//! Offering the same work again, for another call or the same one, at the prices of today.

use nameplate_entities::estimate_revision;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use crate::base::{Act, Error, Result, Right, idempotency};
use crate::estimates::store;
use crate::estimates::writing::carrying::{self, Carried, CarriedReceipt};
use crate::estimates::writing::{drafting, pictures};
use crate::{pricing, shop};

/// Which estimate to offer again, and for which call.
#[derive(Clone, Debug, Serialize)]
pub struct DuplicateEstimate {
    #[serde(skip)]
    pub idempotency_key: String,
    pub estimate_id: i64,
    pub call_id: i64,
}

/// Drafts a new estimate with the options of another's accepted or else latest revision, priced by today's book.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a call that is not open; else as drafting an estimate.
pub async fn duplicate_estimate(act: &Act, command: DuplicateEstimate) -> Result<Carried> {
    let staff_id = act.staff_with(Right::DuplicateEstimate)?;
    let verb = Right::DuplicateEstimate.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &command.idempotency_key, &command).await?;
    if let Some(receipt) = once.receipt()? {
        return carried(&tx, receipt).await;
    }
    let source = source(&tx, command.estimate_id).await?;
    let estimate = store::estimate_of(&tx, &source).await?;
    let call = drafting::open_call(&tx, "callId", command.call_id).await?;
    let on = shop::settings(&tx).await?.day_of(act.at);
    let book = pricing::book_on(&tx, on).await?;
    let offer = carrying::offer_of(&tx, &source).await?;
    let (mut offer, mut remarks) = carrying::today(&tx, &book, offer).await?;
    let from = store::subject_of(&tx, estimate.call_id).await?;
    if from.call.id != call.id {
        remarks.extend(carrying::for_another_job(&mut offer));
    }
    if from.appliance.id != call.appliance_id {
        let to = store::subject_of(&tx, call.id).await?;
        if from.appliance_type.id != to.appliance_type.id {
            remarks.push(format!(
                "The work was for a machine of type {}; this one is of type {}.",
                from.appliance_type.name, to.appliance_type.name
            ));
        }
        if offer.weighs_replacement {
            (offer.weighs_replacement, offer.replacement_price) = (false, None);
            let words =
                "The figures of repair or replace were those of another machine and are left out.";
            remarks.push(words.to_owned());
        }
    }
    if !pictures::frozen(&tx, source.id).await?.is_empty() {
        remarks.push("The pictures of the first estimate are not carried over.".to_owned());
    }
    let revision = drafting::draft_in(&tx, act, (verb, staff_id), &call, offer).await?;
    let receipt = CarriedReceipt {
        revision_id: revision.id,
        remarks: remarks.clone(),
    };
    once.keep(&tx, act, &receipt).await?;
    tx.commit().await?;
    Ok(Carried { revision, remarks })
}

/// What a receipt stands for.
pub(in crate::estimates) async fn carried(
    tx: &impl ConnectionTrait,
    receipt: CarriedReceipt,
) -> Result<Carried> {
    Ok(Carried {
        revision: store::get_revision(tx, "", receipt.revision_id).await?,
        remarks: receipt.remarks,
    })
}

/// The revision whose work is offered again.
async fn source(tx: &impl ConnectionTrait, estimate_id: i64) -> Result<estimate_revision::Model> {
    let estimate = store::get_estimate(tx, "estimateId", estimate_id).await?;
    let mut revisions = store::revisions_of(tx, estimate.id).await?;
    let accepted = revisions
        .iter()
        .position(|row| row.accepted_option_id.is_some() && row.accepted_call_id.is_some());
    match accepted {
        Some(at) => Ok(revisions.swap_remove(at)),
        None => revisions
            .pop()
            .ok_or_else(|| Error::internal("an estimate without a revision")),
    }
}
