//! Drafting an estimate for a call, and drafting its next revision.

use std::collections::HashMap;

use nameplate_entities::kinds::{CallState, EstimateState};
use nameplate_entities::{
    estimate, estimate_line, estimate_option, estimate_revision, estimate_tax, service_address,
    service_call,
};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};
use serde::{Deserialize, Serialize};

use crate::base::audit::{self, Subject};
use crate::base::numbers::{self, Series};
use crate::base::{Act, Error, ProblemCode, Result, Right, idempotency, search};
use crate::estimates::priced::{Destination, PricedLine, PricedOption, Terms, shared_trips};
use crate::estimates::store;
use crate::estimates::writing::offer::Offer;
use crate::estimates::writing::pictures;
use crate::{customers, pricing, shop};

/// An estimate to draft.
#[derive(Clone, Debug, Serialize)]
pub struct DraftEstimate {
    #[serde(skip)]
    pub idempotency_key: String,
    pub call_id: i64,
    pub offer: Offer,
}

/// What the idempotency key of an act on a revision gives back.
#[derive(Serialize, Deserialize)]
pub(in crate::estimates) struct Receipt {
    pub revision_id: i64,
}

/// Prices the work for a call: a new estimate with its first revision, which is not sent yet.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a call that is not open; `SettingMissing` without a price book or a
/// confirmed tax jurisdiction; refusals name the field.
pub async fn draft_estimate(act: &Act, new: DraftEstimate) -> Result<estimate_revision::Model> {
    let staff_id = act.staff_with(Right::DraftEstimate)?;
    let verb = Right::DraftEstimate.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(Receipt { revision_id }) = once.receipt()? {
        return store::get_revision(&tx, "", revision_id).await;
    }
    let call = open_call(&tx, "callId", new.call_id).await?;
    let revision = draft_in(&tx, act, (verb, staff_id), &call, new.offer).await?;
    let receipt = Receipt {
        revision_id: revision.id,
    };
    once.keep(&tx, act, &receipt).await?;
    tx.commit().await?;
    Ok(revision)
}

/// A new estimate for a call, with its first revision.
pub(in crate::estimates) async fn draft_in(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, staff_id): (&'static str, i64),
    call: &service_call::Model,
    offer: Offer,
) -> Result<estimate_revision::Model> {
    let offer = offer.checked()?;
    let terms = terms(tx, act, call, &offer).await?;
    let row = estimate::ActiveModel {
        number: Set(numbers::take(tx, Series::Estimate).await?),
        call_id: Set(call.id),
        created_at: Set(act.at),
        created_by: Set(staff_id),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    let subject = Subject {
        kind: "estimate",
        id: row.id,
    };
    audit::created(tx, act, verb, subject, &row).await?;
    search::index(tx, subject, &row.number, &[&row.number]).await?;
    write_revision(tx, act, verb, (&row, 1), offer, &terms).await
}

/// The next revision of an estimate to draft.
#[derive(Clone, Debug, Serialize)]
pub struct ReviseEstimate {
    #[serde(skip)]
    pub idempotency_key: String,
    pub estimate_id: i64,
    pub offer: Offer,
}

/// Drafts the next revision, priced anew. What was sent stays valid until the new one is sent.
///
/// Of an accepted estimate this is possible after the call was completed, too: what was done may differ from what was
/// accepted, and such a draft is billed in its place. It cannot be sent.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` when the estimate is invoiced, or its call is neither open nor completed with
/// an accepted revision; else as [`draft_estimate`].
pub async fn revise_estimate(
    act: &Act,
    change: ReviseEstimate,
) -> Result<estimate_revision::Model> {
    act.staff_with(Right::ReviseEstimate)?;
    let verb = Right::ReviseEstimate.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &change.idempotency_key, &change).await?;
    if let Some(Receipt { revision_id }) = once.receipt()? {
        return store::get_revision(&tx, "", revision_id).await;
    }
    let offer = change.offer.checked()?;
    let row = store::get_estimate(&tx, "estimateId", change.estimate_id).await?;
    let revisions = store::revisions_of(&tx, row.id).await?;
    if revisions
        .iter()
        .any(|revision| revision.state == EstimateState::Invoiced)
    {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "estimateId",
            "This estimate has been invoiced. Draft another estimate for further work.",
        ));
    }
    let call = revisable_call(&tx, row.call_id, &revisions).await?;
    let terms = terms(&tx, act, &call, &offer).await?;
    let latest = revisions.last().map_or(0, |revision| revision.revision);
    let revision = write_revision(&tx, act, verb, (&row, latest + 1), offer, &terms).await?;
    let receipt = Receipt {
        revision_id: revision.id,
    };
    once.keep(&tx, act, &receipt).await?;
    tx.commit().await?;
    Ok(revision)
}

/// The call, as long as work may be offered for it.
pub(in crate::estimates) async fn open_call(
    tx: &impl ConnectionTrait,
    path: &str,
    call_id: i64,
) -> Result<service_call::Model> {
    let call = store::call(tx, call_id)
        .await?
        .ok_or_else(|| Error::not_found(path, "service call"))?;
    if call.state == CallState::Open {
        return Ok(call);
    }
    Err(Error::refused(
        ProblemCode::WrongState,
        path,
        format!(
            "Call {} is not open; nothing is offered for it.",
            call.number
        ),
    ))
}

/// The call of an estimate to revise. Once its work is done, nothing more is offered; but what was done in place of what
/// was accepted may still be drafted, to be billed.
async fn revisable_call(
    tx: &impl ConnectionTrait,
    call_id: i64,
    revisions: &[estimate_revision::Model],
) -> Result<service_call::Model> {
    let is_accepted = revisions
        .iter()
        .any(|revision| revision.state == EstimateState::Accepted);
    let call = store::call(tx, call_id).await?;
    let done = call.filter(|call| is_accepted && call.state == CallState::Completed);
    match done {
        Some(call) => Ok(call),
        None => open_call(tx, "estimateId", call_id).await,
    }
}

/// What the offer is priced and taxed with today.
async fn terms(
    tx: &impl ConnectionTrait,
    act: &Act,
    call: &service_call::Model,
    offer: &Offer,
) -> Result<Terms> {
    let on = shop::settings(tx).await?.day_of(act.at);
    let address = customers::get_address(tx, "callId", call.service_address_id).await?;
    let confirmed = address
        .tax_jurisdiction_id
        .filter(|_| address.jurisdiction_confirmed_at.is_some());
    let Some(jurisdiction_id) = confirmed else {
        return Err(Error::refused(
            ProblemCode::SettingMissing,
            "",
            format!(
                "Nobody has confirmed where {} is taxed. Confirm its tax jurisdiction first.",
                customers::address_line(&address)
            ),
        ));
    };
    let parts = pricing::parts_by_id(tx, &offer.part_ids()).await?;
    let book = pricing::book_on(tx, on).await?;
    let tasks = offer.named(|terms| terms.task_id);
    let technicians = offer.named(|terms| terms.technician_id);
    Ok(Terms {
        tasks: pricing::tasks_in(tx, book.row.id, &tasks).await?,
        grades: pricing::grades_of(tx, &technicians).await?,
        destination: destination(tx, call, &address).await?,
        book,
        parts: parts
            .into_iter()
            .map(|part| (part.id, part))
            .collect::<HashMap<_, _>>(),
        jurisdiction: pricing::jurisdiction(tx, jurisdiction_id, on).await?,
        certificate: pricing::certificate_on(tx, call.customer_id, on).await?,
        built_in: store::is_built_in(tx, call.appliance_id).await?,
        on,
    })
}

/// Where the visit for a call goes.
async fn destination(
    tx: &impl ConnectionTrait,
    call: &service_call::Model,
    address: &service_address::Model,
) -> Result<Destination> {
    Ok(Destination {
        zone: address.trip_zone.clone(),
        postal_code: address.postal_code.clone(),
        distance: address.trip_distance.map(|distance| distance.0),
        charged_with: shared_trips::paid_by(tx, call.id).await?,
    })
}

async fn write_revision(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    (estimate, number): (&estimate::Model, i32),
    offer: Offer,
    terms: &Terms,
) -> Result<estimate_revision::Model> {
    let offer_json =
        serde_json::to_string(&offer).map_err(|error| Error::caused("an offer as typed", error))?;
    let mut priced = Vec::with_capacity(offer.options.len());
    for (at, option) in offer.options.into_iter().enumerate() {
        priced.push(terms.price(option, &format!("options.{at}"))?);
    }
    let row = estimate_revision::ActiveModel {
        estimate_id: Set(estimate.id),
        revision: Set(number),
        state: Set(EstimateState::Draft),
        price_book_id: Set(terms.book.row.id),
        tax_jurisdiction_id: Set(terms.jurisdiction.row.id),
        found_text: Set(offer.found.unwrap_or_default()),
        notes: Set(offer.notes),
        drafted_at: Set(act.at),
        version: Set(1),
        offer_json: Set(Some(offer_json)),
        weighs_replacement: Set(offer.weighs_replacement),
        replacement_price_cents: Set(offer.replacement_price.map(|price| price.0)),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    for (position, option) in (1..).zip(priced) {
        write_option(tx, (row.id, position), option, terms).await?;
    }
    if !offer.pictures.is_empty() {
        let about = store::subject_of(tx, estimate.call_id).await?;
        pictures::write(tx, &about.call, row.id, offer.pictures).await?;
    }
    let subject = Subject {
        kind: "estimate_revision",
        id: row.id,
    };
    audit::created(tx, act, verb, subject, &row).await?;
    Ok(row)
}

async fn write_option(
    tx: &impl ConnectionTrait,
    (revision_id, position): (i64, i32),
    option: PricedOption,
    terms: &Terms,
) -> Result<()> {
    let row = estimate_option::ActiveModel {
        revision_id: Set(revision_id),
        position: Set(position),
        title: Set(option.title),
        summary: Set(option.summary),
        net_cents: Set(option.net.0),
        discount_cents: Set(option.discount.0),
        tax_cents: Set(option.tax.total_cents.0),
        total_cents: Set(option.total.0),
        notes: Set(option.notes),
        deposit_percent: Set(option
            .deposit
            .and_then(|deposit| deposit.percent)
            .map(|percent| percent.per_hundred().into())),
        deposit_cents: Set(option.deposit.map(|deposit| deposit.amount.0)),
        stated_as: Set(option.facts.stated_as),
        outcome: Set(option.facts.outcome),
        material_evidence: Set(option.facts.material_evidence),
        disaster_reason: Set(option.facts.disaster_area),
        parts_to_be_stated: Set(option.tax.parts_to_be_stated),
        prices: Set(pricing::prices_for_row(option.tax.prices)),
        tax_exemption_id: Set(option.certificate_id),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    let lines = (1..)
        .zip(option.lines)
        .map(|(position, line)| line_row((row.id, position), line));
    estimate_line::Entity::insert_many(lines).exec(tx).await?;
    let option_has_levels = !option.tax.levels.is_empty();
    let levels = option
        .tax
        .levels
        .into_iter()
        .filter_map(|tax| Some((terms.jurisdiction.levels.get(tax.at)?, tax)));
    let taxes = (1..)
        .zip(levels)
        .map(|(position, (level, tax))| estimate_tax::ActiveModel {
            option_id: Set(row.id),
            position: Set(position),
            tax_level_id: Set(level.id),
            name: Set(tax.name),
            rate_percent: Set(tax.rate.per_hundred().into()),
            taxable_cents: Set(tax.taxable_cents.0),
            tax_cents: Set(tax.tax_cents.0),
            ..Default::default()
        });
    if option_has_levels {
        estimate_tax::Entity::insert_many(taxes).exec(tx).await?;
    }
    Ok(())
}

fn line_row((option_id, position): (i64, i32), line: PricedLine) -> estimate_line::ActiveModel {
    let delivery = line.facts.delivery;
    estimate_line::ActiveModel {
        option_id: Set(option_id),
        position: Set(position),
        kind: Set(line.kind),
        description: Set(line.description),
        part_id: Set(line.part_id),
        quantity: Set(line.quantity.into()),
        unit_price_cents: Set(line.unit_price.0),
        net_cents: Set(line.net.0),
        discount_cents: Set(line.discount.0),
        taxable_cents: Set(line.tax.taxable_cents.0),
        tax_cents: Set(line.tax.tax_cents.0),
        tax_reason: Set(line.tax.reason),
        cost_cents: Set(line.cost.0),
        labour_minutes: Set(line.labour_minutes),
        section: Set(line.section),
        task_id: Set(line.basis.task_id),
        work_hours: Set(line.basis.hours),
        crew: Set(line.basis.crew),
        rate_name: Set(line.basis.rate_name),
        worked_minutes: Set(line.basis.worked_minutes),
        zone_name: Set(line.basis.zone_name),
        priced_by: Set(line.basis.priced_by),
        first_labour: Set(line.basis.first_labour),
        price_basis: Set(line.basis.set_by),
        list_price_cents: Set(line.basis.list_price),
        part_condition: Set(line.condition),
        own_discount_cents: Set(line.own_discount.0),
        trip_serves: Set(line.facts.trip_serves),
        delivered_by: Set(delivery.map(|delivery| delivery.by)),
        delivery_cost_cents: Set(delivery
            .and_then(|delivery| delivery.actual_cost)
            .map(|cost| cost.0)),
        delivery_divided: Set(delivery.is_some_and(|delivery| delivery.divided)),
        under_warranty: Set(line.facts.replaced_under_warranty),
        shown_net_cents: Set(line.shown.map(|shown| shown.net.0)),
        shown_discount_cents: Set(line.shown.map(|shown| shown.discount.0)),
        ..Default::default()
    }
}
