//! Sending a frozen estimate once more, such as when its mail was lost.
//!
//! Of a link only its hash is on record, so the mail takes a new one under the same revision, and those before it end.

use nameplate_entities::kinds::EstimateState;
use nameplate_entities::outbox_mail;
use sea_orm::EntityTrait;
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::outbox::{self, Payload};
use crate::base::{Act, Error, ProblemCode, Result, Right, idempotency};
use crate::estimates::store;
use crate::shop;

use super::{addressee, link};

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
/// `Forbidden`; `NotFound`; `WrongState` for what is not offered now; `Missing` at `to` without an e-mail address.
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
    let subject = Subject {
        kind: "estimate_revision",
        id: revision.id,
    };
    let rows = (Some(&revision), Some(&revision));
    audit::record(&tx, act, verb, subject, rows).await?;
    let mail = find(id).await?;
    once.keep(&tx, act, &id).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(mail)
}
