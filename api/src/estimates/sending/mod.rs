//! Freezing a revision, and mailing or presenting it.

pub mod in_force;
pub mod lapsing;
pub mod reminding;
pub mod resending;

use chrono::NaiveDate;
use nameplate_entities::kinds::{EstimateDelivery, EstimateState};
use nameplate_entities::{customer, estimate, estimate_link, estimate_revision};
use nameplate_rules::dates;
use nameplate_rules::estimate::EstimateRefusal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::audit::Subject;
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::secret::Token;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::customers;
use crate::estimates::priced::shared_trips;
use crate::estimates::shown::content::{self, Days};
use crate::estimates::shown::{changes, local};
use crate::estimates::writing::drafting::{self, Receipt};
use crate::estimates::{states, store};
use crate::shop::{self, Settings};

/// Prices do not hold for longer than a year, and no link should.
const VALID_DAYS_MAX: u32 = 366;

/// A drafted revision to send.
#[derive(Clone, Debug, Serialize)]
pub struct SendEstimate {
    #[serde(skip)]
    pub idempotency_key: String,
    pub revision_id: i64,
    /// Where to, if not to the customer's own e-mail address.
    pub to: Option<String>,
    /// Last day it can be accepted, if not by the shop's settings.
    pub valid_until: Option<NaiveDate>,
}

/// A drafted revision to hand over on paper or on a screen.
#[derive(Clone, Debug, Serialize)]
pub struct PresentEstimate {
    #[serde(skip)]
    pub idempotency_key: String,
    pub revision_id: i64,
    /// Last day it can be accepted, if not by the shop's settings.
    pub valid_until: Option<NaiveDate>,
}

/// Freezes a drafted revision, takes the place of those before it and mails it with its link.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Missing` without an e-mail address; `WrongState` for what is no draft; `Superseded`
/// when a later revision was drafted, or when another call pays for the trip or no longer does; `ImpossibleDate` for a
/// last day in the past.
pub async fn send_estimate(act: &Act, send: SendEstimate) -> Result<estimate_revision::Model> {
    act.staff_with(Right::SendEstimate)?;
    let verb = Right::SendEstimate.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &send.idempotency_key, &send).await?;
    if let Some(Receipt { revision_id }) = once.receipt()? {
        return store::get_revision(&tx, "", revision_id).await;
    }
    let wanted = (send.revision_id, send.valid_until);
    let (settings, estimate, sent) = freeze(&tx, act, verb, wanted, EstimateDelivery::Mail).await?;
    let to = addressee(&tx, &estimate, send.to.as_deref()).await?;
    let token = link(&tx, act, &settings, &sent).await?;
    let payload = Payload::Estimate {
        revision_id: sent.id,
        link_token: token.reveal().to_owned(),
    };
    let about = Subject {
        kind: "estimate",
        id: estimate.id,
    };
    outbox::enqueue(&tx, act, &to, about, &payload).await?;
    let receipt = Receipt {
        revision_id: sent.id,
    };
    once.keep(&tx, act, &receipt).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(sent)
}

/// Freezes a drafted revision as [`send_estimate`] does, but mails nothing: the office prints or shows it, and records
/// the answer.
///
/// # Errors
/// As [`send_estimate`], without the address.
pub async fn present_estimate(
    act: &Act,
    present: PresentEstimate,
) -> Result<estimate_revision::Model> {
    act.staff_with(Right::PresentEstimate)?;
    let verb = Right::PresentEstimate.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &present.idempotency_key, &present).await?;
    if let Some(Receipt { revision_id }) = once.receipt()? {
        return store::get_revision(&tx, "", revision_id).await;
    }
    let wanted = (present.revision_id, present.valid_until);
    let (_, _, sent) = freeze(&tx, act, verb, wanted, EstimateDelivery::Hand).await?;
    let receipt = Receipt {
        revision_id: sent.id,
    };
    once.keep(&tx, act, &receipt).await?;
    tx.commit().await?;
    Ok(sent)
}

/// Freezes a draft for a customer and lets it take the place of those before it.
async fn freeze(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    (revision_id, valid_until): (i64, Option<NaiveDate>),
    delivery: EstimateDelivery,
) -> Result<(Settings, estimate::Model, estimate_revision::Model)> {
    let draft = store::get_revision(tx, "revisionId", revision_id).await?;
    let estimate = store::estimate_of(tx, &draft).await?;
    drafting::open_call(tx, "revisionId", estimate.call_id).await?;
    let others = others(tx, "revisionId", &draft).await?;
    not_agreed_already(tx, &estimate).await?;
    let settings = shop::settings(tx).await?;
    let days = days(&settings, act, valid_until)?;
    in_force::still(tx, "revisionId", (&estimate, &draft), days.sent_on).await?;
    let options = store::options_of(tx, draft.id).await?;
    shared_trips::must_hold(tx, "revisionId", estimate.call_id, (&draft, &options)).await?;
    let state = states::of_row(draft.state)
        .send(days.sent_on, days.valid_until)
        .map_err(|refusal| states::refused(path_of(&refusal), refusal))?;
    let mut content = content::of_revision(tx, &settings, (&estimate, &draft), days).await?;
    local::must_hold(tx, &settings, (&estimate, &content), days.sent_on).await?;
    content.changes = changes::since_last_sent(&others, &content)?;
    let next_reminder_on = match delivery {
        EstimateDelivery::Mail if estimate.reminders_stopped_at.is_none() => {
            reminding::first_day(&settings, days, days.sent_on)
        }
        _ => None,
    };
    supersede(tx, act, verb, &others).await?;
    let sent = states::moved(tx, act, verb, &draft, |row| {
        row.state = Set(states::for_row(state));
        row.valid_until = Set(Some(days.valid_until));
        row.content_hash = Set(Some(content.hash()));
        row.content_json = Set(Some(content.canonical_json()));
        row.sent_at = Set(Some(act.at));
        row.delivery = Set(Some(delivery));
        row.next_reminder_on = Set(next_reminder_on);
    })
    .await?;
    Ok((settings, estimate, sent))
}

/// Nothing of another estimate for the call is accepted; nobody could accept a second one.
async fn not_agreed_already(tx: &impl ConnectionTrait, estimate: &estimate::Model) -> Result<()> {
    let accepted = store::accepted_revision(tx, estimate.call_id).await?;
    let Some(other) = accepted
        .filter(|accepted| accepted.estimate_id != estimate.id && !accepted.billing_taken_back)
    else {
        return Ok(());
    };
    let number = store::estimate_of(tx, &other).await?.number;
    let words = format!(
        "Estimate {number} for this call is accepted already. Revise that one to offer other work."
    );
    Err(Error::refused(ProblemCode::WrongState, "revisionId", words))
}

/// The other revisions of the estimate.
///
/// # Errors
/// `Superseded` when one of them is later: the customer would see revisions run backwards.
pub(in crate::estimates) async fn others(
    tx: &impl ConnectionTrait,
    path: &str,
    draft: &estimate_revision::Model,
) -> Result<Vec<estimate_revision::Model>> {
    let revisions = store::revisions_of(tx, draft.estimate_id).await?;
    if let Some(latest) = revisions.last()
        && latest.revision > draft.revision
    {
        return Err(Error::refused(
            ProblemCode::Superseded,
            path,
            format!(
                "Revision {} was drafted after this one. Use that one.",
                latest.revision
            ),
        ));
    }
    if revisions
        .iter()
        .any(|revision| revision.state == EstimateState::Invoiced)
    {
        return Err(states::refused(path, EstimateRefusal::AlreadyInvoiced));
    }
    Ok(revisions
        .into_iter()
        .filter(|revision| revision.id != draft.id)
        .collect())
}

/// The days a revision is frozen with when it is sent now.
pub(in crate::estimates) fn days(
    settings: &Settings,
    act: &Act,
    valid_until: Option<NaiveDate>,
) -> Result<Days> {
    let sent_on = settings.day_of(act.at);
    let usual = || {
        let days = u32::try_from(settings.row.estimate_valid_days)
            .map_err(|error| Error::caused("days an estimate is valid", error))?;
        dates::days_after(sent_on, days)
            .map_err(|refusal| Error::caused("last day of an estimate", refusal))
    };
    let valid_until = valid_until.map_or_else(usual, Ok)?;
    let furthest = dates::days_after(sent_on, VALID_DAYS_MAX)
        .map_err(|refusal| Error::caused("last day of an estimate", refusal))?;
    if valid_until > furthest {
        return Err(Error::refused(
            ProblemCode::ImpossibleDate,
            "validUntil",
            format!("An estimate is valid for at most {VALID_DAYS_MAX} days."),
        ));
    }
    Ok(Days {
        sent_on,
        valid_until,
    })
}

fn path_of(refusal: &EstimateRefusal) -> &'static str {
    match refusal {
        EstimateRefusal::EndsBeforeSent { .. } => "validUntil",
        _ => "revisionId",
    }
}

async fn addressee(
    tx: &impl ConnectionTrait,
    estimate: &estimate::Model,
    to: Option<&str>,
) -> Result<Addressee> {
    let customer = customer_of(tx, estimate).await?;
    let mut checks = Checks::new();
    let given = checks.email_if_any("to", to);
    checks.finish()?;
    let email = given.or(customer.email).ok_or_else(|| {
        Error::refused(
            ProblemCode::Missing,
            "to",
            "This customer has no e-mail address. Give one to send the estimate to.",
        )
    })?;
    Ok(Addressee {
        email,
        name: customer.name,
    })
}

/// The customer whose call an estimate is for.
///
/// # Errors
/// Internal only.
pub(in crate::estimates) async fn customer_of(
    tx: &impl ConnectionTrait,
    estimate: &estimate::Model,
) -> Result<customer::Model> {
    let call = store::call(tx, estimate.call_id)
        .await?
        .ok_or_else(|| Error::internal("the call of an estimate is gone"))?;
    customers::get_customer(tx, "", call.customer_id).await
}

/// Sent and drafted revisions give way; an accepted one holds until the customer accepts the new one.
async fn supersede(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    others: &[estimate_revision::Model],
) -> Result<()> {
    let giving_way = others
        .iter()
        .filter(|revision| matches!(revision.state, EstimateState::Sent | EstimateState::Draft));
    let mut ids = Vec::new();
    for revision in giving_way {
        let state = states::of_row(revision.state)
            .supersede()
            .map_err(|refusal| states::refused("revisionId", refusal))?;
        states::moved(tx, act, verb, revision, |row| {
            row.state = Set(states::for_row(state));
            row.next_reminder_on = Set(None);
        })
        .await?;
        ids.push(revision.id);
    }
    store::revoke_links(tx, &ids, act.at).await
}

/// A new way in to a sent revision, until its last day is over.
pub(in crate::estimates) async fn link(
    tx: &impl ConnectionTrait,
    act: &Act,
    settings: &Settings,
    sent: &estimate_revision::Model,
) -> Result<Token> {
    let valid_until = sent
        .valid_until
        .ok_or_else(|| Error::internal("a sent estimate has no last day"))?;
    let token = Token::fresh()?;
    estimate_link::ActiveModel {
        revision_id: Set(sent.id),
        token_hash: Set(token.hash()),
        created_at: Set(act.at),
        expires_at: Set(settings.end_of(valid_until)),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    Ok(token)
}

/// Takes back everything that is still offered for a call; its links open no more.
///
/// # Errors
/// Internal only.
pub async fn withdraw(tx: &impl ConnectionTrait, act: &Act, call_id: i64) -> Result<()> {
    for estimate in store::estimates_of_call(tx, call_id).await? {
        let revisions = store::revisions_of(tx, estimate.id).await?;
        supersede(tx, act, Right::CancelCall.mutation(), &revisions).await?;
    }
    Ok(())
}
