//! Mail that was asked for: the row commits with the act that asked, a worker sends it later (`jobs`).

use chrono::{DateTime, TimeDelta, Utc};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::{Deserialize, Serialize};

use nameplate_entities::kinds::{MailKind, MailState};
use nameplate_entities::outbox_mail;

use super::act::Act;
use super::audit::Subject;
use super::error::{Error, Result};
use super::secret::Token;

/// What a mail is made from when it is sent.
#[derive(Clone, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Payload {
    /// An estimate with its link. The token leaves the row once the mail is sent.
    Estimate {
        revision_id: i64,
        link_token: String,
    },
    /// The answer to what a customer asked about an estimate.
    EstimateAnswer { question_id: i64 },
    /// An issued invoice or credit note.
    Invoice { invoice_id: i64 },
    /// Plain words to a member of staff.
    Notice {
        headline: String,
        sentences: Vec<String>,
    },
}

impl Payload {
    fn kind(&self) -> MailKind {
        match self {
            Self::Estimate { .. } | Self::EstimateAnswer { .. } => MailKind::Estimate,
            Self::Invoice { .. } => MailKind::Invoice,
            Self::Notice { .. } => MailKind::Notice,
        }
    }
}

/// Whom a mail goes to.
#[derive(Clone)]
pub struct Addressee {
    pub email: String,
    pub name: String,
}

/// When a mail that is asked for now counts as failed.
pub fn give_up_at(act: &Act) -> DateTime<Utc> {
    act.at + TimeDelta::hours(i64::from(act.app.config.mail.give_up_hours))
}

/// Queues a mail in the transaction of the act that asks for it.
///
/// The Message-ID is made here and stays the same on every try, so that a relay or reader can tell a
/// repeated try from a second mail.
///
/// # Errors
/// Internal only.
pub async fn enqueue(
    tx: &impl ConnectionTrait,
    act: &Act,
    to: &Addressee,
    about: Subject,
    payload: &Payload,
) -> Result<i64> {
    let payload_json =
        serde_json::to_string(payload).map_err(|error| Error::caused("mail payload", error))?;
    let domain = act
        .app
        .config
        .mail
        .from
        .rsplit_once('@')
        .map_or("nameplate.invalid", |(_, domain)| domain)
        .to_owned();
    let row = outbox_mail::ActiveModel {
        message_id: Set(format!("<{}@{domain}>", Token::fresh()?.reveal())),
        kind: Set(payload.kind()),
        payload_json: Set(payload_json),
        to_email: Set(to.email.clone()),
        to_name: Set(to.name.clone()),
        subject_kind: Set(about.kind.to_owned()),
        subject_id: Set(about.id),
        state: Set(MailState::Queued),
        attempts: Set(0),
        next_try_at: Set(act.at),
        give_up_at: Set(give_up_at(act)),
        created_at: Set(act.at),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    Ok(row.id)
}
