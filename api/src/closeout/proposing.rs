//! What a completed call comes to by what is on record of it: lines to look at, change and bill.
//!
//! What stays true: nothing is written; each part fitted, each technician's time and one trip is among the lines, or is
//! named with the reason why it is not.

use std::collections::BTreeMap;

use nameplate_entities::kinds::{CallbackState, ChargeKind};
use nameplate_entities::{part, service_call};
use nameplate_rules::books::events::PartPayer;
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;

use crate::base::{Act, Error, Problem, ProblemCode, Result};
use crate::calls::{self, Work};
use crate::estimates::{self, LineTerms, NewLine, Proposed, Workplace};
use crate::{appliances, callbacks, coverage, customers, invoices, pricing, shop};

use super::operations::payer;
use super::store;

/// The lines of a call as its record has them.
pub struct WorkToBill {
    pub call: service_call::Model,
    pub proposed: Proposed,
    /// What `issueInvoice` would refuse now.
    pub in_the_way: Vec<Problem>,
}

/// What the work of a call comes to today, by the book and the taxes of its place.
///
/// # Errors
/// `NotFound`.
pub async fn work_to_bill(
    db: &impl ConnectionTrait,
    act: &Act,
    call_id: i64,
) -> Result<WorkToBill> {
    let call = calls::get_call(db, "callId", call_id).await?;
    let mut in_the_way = problems(invoices::may_be_billed_as_done(db, &call).await)?;
    let callback = callbacks::callback_of(db, call.id).await?;
    if callback
        .as_ref()
        .is_some_and(|row| row.state == CallbackState::Proposed)
    {
        let words =
            "It is not decided whether this call is a callback. Decide it first (decideCallback).";
        in_the_way.push(Problem::new(ProblemCode::WrongState, "callId", words));
    }
    let proposed = if coverage::is_all_the_shops(db, call.id).await? {
        nothing("It was decided that the shop bears all of this call, so nothing is proposed.")
    } else if matches!(payer(callback.as_ref()), PartPayer::Shop) {
        nothing("This is a callback: the shop stands behind its work, so nothing is proposed.")
    } else {
        match propose(db, act, &call).await {
            Ok(proposed) => proposed,
            Err(Error::Refused(problems)) => {
                in_the_way.extend(problems);
                nothing("No line can be priced before that is mended.")
            }
            Err(error) => return Err(error),
        }
    };
    Ok(WorkToBill {
        call,
        proposed,
        in_the_way,
    })
}

fn problems(outcome: Result<()>) -> Result<Vec<Problem>> {
    match outcome {
        Ok(()) => Ok(Vec::new()),
        Err(Error::Refused(problems)) => Ok(problems),
        Err(error) => Err(error),
    }
}

fn nothing(why: &str) -> Proposed {
    Proposed {
        lines: Vec::new(),
        work: None,
        left_out: vec![why.to_owned()],
    }
}

async fn propose(
    db: &impl ConnectionTrait,
    act: &Act,
    call: &service_call::Model,
) -> Result<Proposed> {
    let work = calls::work_of_calls(db, [call.id]).await?;
    let mut noted = Vec::new();
    let mut lines = parts(db, &work).await?;
    let labour = labour(&work);
    if labour.is_empty() {
        noted.push("Labor: no time is on record.".to_owned());
    }
    lines.extend(labour);
    match store::trips_made(db, call.id).await? {
        0 => noted.push("Trip: no visit is said to have been made.".to_owned()),
        made => {
            lines.push(("Trip".to_owned(), NewLine::of(ChargeKind::Trip)));
            if made > 1 {
                noted.push(format!(
                    "Trips: {made} were made and one is proposed; charge a second for a reason."
                ));
            }
        }
    }
    let address = customers::get_address(db, "callId", call.service_address_id).await?;
    let machine = appliances::get_appliance(db, "callId", call.appliance_id).await?;
    let place = Workplace {
        address: &address,
        customer_id: call.customer_id,
        built_in: machine.built_in,
        trip_paid_with: invoices::trip_paid_with(db, call).await?,
        on: shop::settings(db).await?.day_of(act.at),
        path: "callId",
    };
    let mut proposed = estimates::propose_work(db, place, lines).await?;
    proposed.left_out.extend(noted);
    Ok(proposed)
}

/// The parts fitted, each once, in the order of the work.
async fn parts(db: &impl ConnectionTrait, work: &[Work]) -> Result<Vec<(String, NewLine)>> {
    let mut fitted: Vec<(i64, Decimal)> = Vec::new();
    let used = work.iter().flat_map(|work| &work.remedies);
    for part in used.flat_map(|(_, parts)| parts) {
        let quantity = part.quantity.0;
        match fitted.iter_mut().find(|(id, _)| *id == part.part_id) {
            Some((_, sum)) => *sum = sum.saturating_add(quantity),
            None => fitted.push((part.part_id, quantity)),
        }
    }
    // What was all taken back unused is not billed.
    fitted.retain(|(_, quantity)| *quantity > Decimal::ZERO);
    let ids = fitted.iter().map(|(id, _)| *id).collect::<Vec<_>>();
    let known = pricing::parts_by_id(db, &ids).await?;
    let line = |(id, quantity): (i64, Decimal)| {
        let part: Option<&part::Model> = known.iter().find(|part| part.id == id);
        let name = part.map_or("A part", |part| part.description.as_str());
        let line = NewLine {
            part_id: Some(id),
            quantity: Some(quantity.normalize()),
            ..NewLine::of(ChargeKind::Part)
        };
        (name.to_owned(), line)
    };
    Ok(fitted.into_iter().map(line).collect())
}

/// The time on record, one line for each who worked, at that person's grade.
fn labour(work: &[Work]) -> Vec<(String, NewLine)> {
    let mut worked: BTreeMap<i64, i32> = BTreeMap::new();
    for (remedy, _) in work.iter().flat_map(|work| &work.remedies) {
        let minutes = worked.entry(remedy.done_by).or_default();
        *minutes = minutes.saturating_add(remedy.labour_minutes);
    }
    worked.retain(|_, minutes| *minutes > 0);
    let line = |(technician_id, minutes): (i64, i32)| {
        let line = NewLine {
            minutes: Some(minutes),
            terms: LineTerms {
                technician_id: Some(technician_id),
                ..LineTerms::default()
            },
            ..NewLine::of(ChargeKind::Labour)
        };
        (format!("Labor, {minutes} minutes"), line)
    };
    worked.into_iter().map(line).collect()
}
