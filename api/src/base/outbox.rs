//! Mail that was asked for: the row commits with the act that asked, a worker sends it later (`jobs`).

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
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
    EstimateAnswer {
        question_id: i64,
        /// Opens the estimate while it can be answered; empty once it cannot.
        #[serde(default)]
        link_token: String,
    },
    /// A reminder of an estimate that has no answer, with a link of its own.
    Reminder {
        revision_id: i64,
        link_token: String,
        /// Whether tomorrow is its last day.
        ends_soon: bool,
    },
    /// What was agreed by an acceptance.
    Confirmation { revision_id: i64 },
    /// An issued invoice or credit note.
    Invoice { invoice_id: i64 },
    /// A statement of account.
    Statement {
        customer_id: i64,
        from: NaiveDate,
        until: NaiveDate,
    },
    /// A reminder of an invoice that is overdue.
    Overdue {
        invoice_id: i64,
        /// Which reminder of it this is, from 1.
        number: i32,
    },
    /// The receipt of a payment.
    Receipt { payment_id: i64 },
    /// That a payment came back, and what is open again.
    PaymentReturned { payment_id: i64 },
    /// A claim for its payer, as it was submitted.
    Claim { sending_id: i64 },
    /// What an owner is told once a day or once a month.
    OwnerLetter { letter_id: i64 },
    /// Plain words to a member of staff.
    Notice {
        headline: String,
        sentences: Vec<String>,
    },
}

impl Payload {
    /// The same without the secret of its link, which is of no use here once the mail is gone.
    #[must_use]
    pub fn without_secret(self) -> Self {
        let link_token = String::new();
        match self {
            Self::Estimate { revision_id, .. } => Self::Estimate {
                revision_id,
                link_token,
            },
            Self::Reminder {
                revision_id,
                ends_soon,
                ..
            } => Self::Reminder {
                revision_id,
                link_token,
                ends_soon,
            },
            Self::EstimateAnswer { question_id, .. } => Self::EstimateAnswer {
                question_id,
                link_token,
            },
            other => other,
        }
    }

    /// Whether it holds the secret of a link.
    pub fn holds_secret(&self) -> bool {
        match self {
            Self::Estimate { link_token, .. }
            | Self::Reminder { link_token, .. }
            | Self::EstimateAnswer { link_token, .. } => !link_token.is_empty(),
            Self::Confirmation { .. }
            | Self::Invoice { .. }
            | Self::Overdue { .. }
            | Self::Statement { .. }
            | Self::PaymentReturned { .. }
            | Self::Receipt { .. }
            | Self::Claim { .. }
            | Self::OwnerLetter { .. }
            | Self::Notice { .. } => false,
        }
    }

    fn kind(&self) -> MailKind {
        match self {
            Self::Estimate { .. } | Self::EstimateAnswer { .. } => MailKind::Estimate,
            Self::Reminder { .. } | Self::Overdue { .. } => MailKind::Reminder,
            Self::Confirmation { .. } => MailKind::Confirmation,
            Self::Invoice { .. }
            | Self::Statement { .. }
            | Self::PaymentReturned { .. }
            | Self::Claim { .. }
            | Self::Receipt { .. } => MailKind::Invoice,
            Self::OwnerLetter { .. } | Self::Notice { .. } => MailKind::Notice,
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
