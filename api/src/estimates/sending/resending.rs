//! Sending a frozen estimate once more, such as when its mail was lost, or after it was handed over on paper.
//!
//! What stays true: what was mailed at last is an estimate by mail, with its reminders. Of a link only its hash is on record, so the mail takes a new one under the same revision, and those before it end.

use nameplate_entities::kinds::{EstimateDelivery, EstimateState};
use nameplate_entities::{estimate, estimate_revision, outbox_mail};
use sea_orm::{ActiveValue::Set, ConnectionTrait, EntityTrait};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::outbox::{self, Payload};
use crate::base::{Act, Error, ProblemCode, Result, Right, idempotency};
use crate::estimates::shown::content::Days;
use crate::estimates::writing::drafting;
use crate::estimates::{states, store};
use crate::shop::{self, Settings};

use super::{addressee, link, reminding};

/// A sent revision to send again.
#[derive(Clone, Debug, Serialize)]
pub struct ResendEstimate {
    #[serde(skip)]
    pub idempotency_key: String,
    pub revision_id: i64,
    /// Where to, if not to the customer's own e-mail address.
    pub to: Option<String>,
}

/// Mails a sent revision again with a new link. What it offers and its last day stay as they were.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for what is not offered now, or a call that is not open; `Missing` at `to` without an e-mail address.
pub async fn resend_estimate(act: &Act, order: ResendEstimate) -> Result<outbox_mail::Model> {
    act.staff_with(Right::ResendEstimate)?;
    let verb = Right::ResendEstimate.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    let find = async |id: i64| {
        let row = outbox_mail::Entity::find_by_id(id).one(&tx).await?;
        row.ok_or_else(|| Error::internal("a mail that was asked for is gone"))
    };
    if let Some(id) = once.receipt::<i64>()? {
        return find(id).await;
    }
    let revision = store::get_revision(&tx, "revisionId", order.revision_id).await?;
    let settings = shop::settings(&tx).await?;
    let is_over = revision
        .valid_until
        .is_none_or(|day| settings.end_of(day) <= act.at);
    if revision.state != EstimateState::Sent || is_over {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "revisionId",
            "Only an estimate that waits for its answer is sent again. Send a draft, or revise what is over.",
        ));
    }
    let estimate = store::estimate_of(&tx, &revision).await?;
    drafting::open_call(&tx, "revisionId", estimate.call_id).await?;
    let to = addressee(&tx, &estimate, order.to.as_deref()).await?;
    store::revoke_links(&tx, &[revision.id], act.at).await?;
    let token = link(&tx, act, &settings, &revision).await?;
    let payload = Payload::Estimate {
        revision_id: revision.id,
        link_token: token.reveal().to_owned(),
    };
    let about = Subject {
        kind: "estimate",
        id: estimate.id,
    };
    let id = outbox::enqueue(&tx, act, &to, about, &payload).await?;
    by_mail(&tx, act, &settings, (&estimate, &revision)).await?;
    let mail = find(id).await?;
    once.keep(&tx, act, &id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(mail)
}

/// Notes that a revision was mailed. One that was handed over before is reminded of from now on, as one sent today is.
async fn by_mail(
    tx: &impl ConnectionTrait,
    act: &Act,
    settings: &Settings,
    (estimate, revision): (&estimate::Model, &estimate_revision::Model),
) -> Result<()> {
    let verb = Right::ResendEstimate.mutation();
    let handed_over = (revision.sent_at, revision.valid_until);
    let (Some(EstimateDelivery::Hand), (Some(sent_at), Some(valid_until))) =
        (revision.delivery, handed_over)
    else {
        let subject = Subject {
            kind: "estimate_revision",
            id: revision.id,
        };
        return audit::record(tx, act, verb, subject, (Some(revision), Some(revision))).await;
    };
    let days = Days {
        sent_on: settings.day_of(sent_at),
        valid_until,
    };
    let first = reminding::first_day(settings, days, settings.day_of(act.at));
    let next_reminder_on = first.filter(|_| estimate.reminders_stopped_at.is_none());
    states::moved(tx, act, verb, revision, |row| {
        row.delivery = Set(Some(EstimateDelivery::Mail));
        row.next_reminder_on = Set(next_reminder_on);
    })
    .await?;
    Ok(())
}
