//! Mail on its way out, one row at a time: claim it, make the letter, hand it over, write down how it went.
//!
//! The claim is a short transaction of its own, and nothing is locked while the relay is spoken to. A row
//! whose worker was killed is claimed again once its claim has run out; the relay may then see the same
//! Message-ID twice, which is how a reader tells a second copy. A mail that can never leave is told to the
//! desk in the transaction that marks it, so neither happens without the other.

use chrono::{DateTime, TimeDelta, Utc};
use nameplate_entities::kinds::{MailKind, MailState, Role};
use nameplate_entities::outbox_mail::{ActiveModel, Column, Entity, Model};
use nameplate_entities::staff;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, Condition, ConnectionTrait, EntityTrait,
    IntoActiveModel, QueryFilter, QueryOrder,
};
use serde::{Deserialize, Serialize};

use crate::base::audit::{self, Subject};
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Error, ProblemCode, Result, Right, idempotency};
use crate::graphql::error::chain;
use crate::mail::{Envelope, SendFault, Transport};
use crate::shop;

use super::{backoff, letters};

/// The subject of what is said about a mail itself.
const ABOUT_MAIL: &str = "outbox_mail";

/// Letters of what a relay said that are kept.
const SAID_MAX: usize = 500;

/// Sends the next mail that is due; false when none is.
///
/// # Errors
/// Faults of the database; the row stays as it was claimed and comes again.
pub async fn send_next(act: &Act, transport: &Transport) -> Result<bool> {
    let Some(mail) = claim(act).await? else {
        return Ok(false);
    };
    if let Some(why) = moot(act, &mail).await? {
        drop_unsent(act, mail, why).await?;
        return Ok(true);
    }
    let outcome = hand_over(act, transport, &mail).await;
    let later = act.app.act(act.caller.clone());
    match outcome {
        Ok(without) => sent(&later, mail, without).await?,
        Err(SendFault::Later(said)) if later.at < mail.give_up_at => {
            postpone(&later, mail, &said).await?;
        }
        Err(SendFault::Later(said) | SendFault::Never(said)) => fail(&later, mail, &said).await?,
    }
    Ok(true)
}

async fn claim(act: &Act) -> Result<Option<Model>> {
    // Looking costs no lock; most looks find nothing.
    if next_due(act.app.db.read(), act.at).await?.is_none() {
        return Ok(None);
    }
    let tx = act.app.db.write().await?;
    let Some(mail) = next_due(&tx, act.at).await? else {
        return Ok(None);
    };
    let attempts = mail.attempts.saturating_add(1);
    let mut row = mail.into_active_model();
    row.state = Set(MailState::Sending);
    row.attempts = Set(attempts);
    row.claimed_until = Set(Some(act.at + claim_time(act)));
    let mail = row.update(&tx).await?;
    tx.commit().await?;
    Ok(Some(mail))
}

/// Twice the longest try: making the letter takes time too.
fn claim_time(act: &Act) -> TimeDelta {
    TimeDelta::from_std(act.app.config.mail.send_timeout().saturating_mul(2))
        .unwrap_or(TimeDelta::hours(1))
}

async fn next_due(db: &impl ConnectionTrait, at: DateTime<Utc>) -> Result<Option<Model>> {
    let waits = Condition::all()
        .add(Column::State.is_in([MailState::Queued, MailState::Waiting]))
        .add(Column::NextTryAt.lte(at));
    let was_left = Condition::all()
        .add(Column::State.eq(MailState::Sending))
        .add(Column::ClaimedUntil.lt(at));
    Ok(Entity::find()
        .filter(Condition::any().add(waits).add(was_left))
        .order_by_asc(Column::NextTryAt)
        .order_by_asc(Column::Id)
        .one(db)
        .await?)
}

async fn hand_over(
    act: &Act,
    transport: &Transport,
    mail: &Model,
) -> std::result::Result<Option<String>, SendFault> {
    let payload: Payload = serde_json::from_str(&mail.payload_json).map_err(|error| {
        SendFault::Never(format!("the mail's contents are unreadable: {error}"))
    })?;
    let fault = |error: Error| {
        tracing::error!(mail_id = mail.id, chain = %chain(&error), "a mail could not be made");
        SendFault::Later("the mail could not be made; the log says why".to_owned())
    };
    let shop = shop::settings(act.app.db.read()).await.map_err(fault)?;
    let outgoing = letters::write(act, &shop, &payload).await.map_err(fault)?;
    let envelope = Envelope {
        message_id: mail.message_id.clone(),
        from_email: act.app.config.mail.from.clone(),
        from_name: shop.row.name,
        reply_to: shop.row.email,
        to_email: mail.to_email.clone(),
        to_name: mail.to_name.clone(),
        at: act.at,
        file_name: format!(
            "{}-{:06}",
            mail.created_at.format("%Y%m%dT%H%M%S%.6f"),
            mail.id
        ),
    };
    transport.send(&envelope, &outgoing).await?;
    Ok(outgoing.without)
}

async fn sent(act: &Act, mail: Model, without: Option<String>) -> Result<()> {
    let payload_json = without_secret(&mail.payload_json)?;
    let change = ActiveModel {
        state: Set(MailState::Sent),
        sent_at: Set(Some(act.at)),
        payload_json: Set(payload_json),
        last_error: Set(None),
        ..Default::default()
    };
    let tx = act.app.db.write().await?;
    if settle(&tx, &mail, change).await?
        && let Some(why) = &without
    {
        tell_what_is_missing(&tx, act, &mail, why).await?;
    }
    tx.commit().await?;
    if without.is_some() {
        act.app.mail_bell.notify_one();
    }
    tracing::info!(
        mail_id = mail.id,
        attempts = mail.attempts,
        "a mail was sent"
    );
    Ok(())
}

/// The link's secret is of no use here once the customer has it, or will never have it.
fn without_secret(payload_json: &str) -> Result<String> {
    let payload: Payload =
        serde_json::from_str(payload_json).map_err(|error| Error::caused("mail payload", error))?;
    serde_json::to_string(&payload.without_secret())
        .map_err(|error| Error::caused("mail payload", error))
}

/// Why a claimed mail need not leave any more. What cannot be known is left to the try itself.
async fn moot(act: &Act, mail: &Model) -> Result<Option<&'static str>> {
    match serde_json::from_str(&mail.payload_json) {
        Ok(payload) => letters::moot(act, &payload).await,
        Err(_) => Ok(None),
    }
}

/// Keeps the row of a mail that is not sent, with the reason.
async fn drop_unsent(act: &Act, mail: Model, why: &str) -> Result<()> {
    let change = ActiveModel {
        state: Set(MailState::Dropped),
        payload_json: Set(without_secret(&mail.payload_json)?),
        last_error: Set(Some(why.to_owned())),
        ..Default::default()
    };
    let tx = act.app.db.write().await?;
    settle(&tx, &mail, change).await?;
    tx.commit().await?;
    tracing::info!(mail_id = mail.id, why, "a mail was dropped unsent");
    Ok(())
}

async fn postpone(act: &Act, mail: Model, said: &str) -> Result<()> {
    let wait = backoff::wait(&act.app.config.mail, mail.attempts);
    let change = ActiveModel {
        state: Set(MailState::Waiting),
        next_try_at: Set(act.at + wait),
        last_error: Set(Some(shortened(said))),
        ..Default::default()
    };
    let tx = act.app.db.write().await?;
    settle(&tx, &mail, change).await?;
    tx.commit().await?;
    tracing::warn!(
        mail_id = mail.id,
        attempts = mail.attempts,
        wait_s = wait.num_seconds(),
        "a mail waits for its next try"
    );
    Ok(())
}

async fn fail(act: &Act, mail: Model, said: &str) -> Result<()> {
    let said = shortened(said);
    let change = ActiveModel {
        state: Set(MailState::Failed),
        last_error: Set(Some(said.clone())),
        ..Default::default()
    };
    let tx = act.app.db.write().await?;
    // A failed notice about a failed mail is not told by another notice: that could go on for ever.
    if settle(&tx, &mail, change).await? && mail.subject_kind != ABOUT_MAIL {
        tell_the_desk(&tx, act, &mail, &said).await?;
    }
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    tracing::error!(
        mail_id = mail.id,
        attempts = mail.attempts,
        "a mail failed for good"
    );
    Ok(())
}

/// Changes the row if this worker still holds it; a later claim makes an earlier one void.
async fn settle(tx: &impl ConnectionTrait, mail: &Model, change: ActiveModel) -> Result<bool> {
    let change = ActiveModel {
        claimed_until: Set(None),
        ..change
    };
    let changed = Entity::update_many()
        .set(change)
        .filter(Column::Id.eq(mail.id))
        .filter(Column::State.eq(MailState::Sending))
        .filter(Column::Attempts.eq(mail.attempts))
        .exec(tx)
        .await?;
    Ok(changed.rows_affected > 0)
}

/// One notice to each owner and office member who works here.
async fn tell_the_desk(
    tx: &impl ConnectionTrait,
    act: &Act,
    mail: &Model,
    said: &str,
) -> Result<()> {
    let what = match mail.kind {
        MailKind::Estimate => "an estimate",
        MailKind::Reminder => "a reminder of an estimate",
        MailKind::Confirmation => "the confirmation of an answer",
        MailKind::Invoice => "an invoice, credit note, receipt or statement",
        MailKind::Notice => "a notice",
    };
    let name = name_of(mail);
    let notice = Payload::Notice {
        headline: format!("Mail to {name} could not be delivered"),
        sentences: vec![
            format!("The mail with {what} for {name} ({}) could not be delivered, and it will not be tried again by itself.", mail.to_email),
            format!("What came back: {said}."),
            "Check the address with the customer, then send the mail again from the list of failed mails.".to_owned(),
        ],
    };
    notify(tx, act, mail, &notice).await
}

/// The same about a mail that left without a file its reader wants.
async fn tell_what_is_missing(
    tx: &impl ConnectionTrait,
    act: &Act,
    mail: &Model,
    why: &str,
) -> Result<()> {
    let name = name_of(mail);
    let notice = Payload::Notice {
        headline: format!("Mail to {name} left without a file"),
        sentences: vec![
            format!("A mail to {name} ({}) was sent. {why}", mail.to_email),
            "Mend that, then send the document again (resendDocument).".to_owned(),
        ],
    };
    notify(tx, act, mail, &notice).await
}

fn name_of(mail: &Model) -> &str {
    if mail.to_name.is_empty() {
        &mail.to_email
    } else {
        &mail.to_name
    }
}

async fn notify(
    tx: &impl ConnectionTrait,
    act: &Act,
    mail: &Model,
    notice: &Payload,
) -> Result<()> {
    let about = Subject {
        kind: ABOUT_MAIL,
        id: mail.id,
    };
    for person in desk(tx).await? {
        let to = Addressee {
            email: person.email,
            name: person.name,
        };
        outbox::enqueue(tx, act, &to, about, notice).await?;
    }
    Ok(())
}

async fn desk(db: &impl ConnectionTrait) -> Result<Vec<staff::Model>> {
    Ok(staff::Entity::find()
        .filter(staff::Column::Role.is_in([Role::Owner, Role::Office]))
        .filter(staff::Column::LeftAt.is_null())
        .order_by_asc(staff::Column::Id)
        .all(db)
        .await?)
}

fn shortened(said: &str) -> String {
    said.chars()
        .map(|sign| if sign.is_control() { ' ' } else { sign })
        .take(SAID_MAX)
        .collect()
}

/// Which failed mail is to be sent again.
#[derive(Clone, Debug, Serialize)]
pub struct RetryMail {
    pub mail_id: i64,
}

/// What is kept of a retry under its key.
#[derive(Serialize, Deserialize)]
struct Receipt {
    mail_id: i64,
}

/// How a mail stood, for the audit log: a row also holds secrets.
#[derive(Serialize)]
struct Standing {
    state: MailState,
    attempts: i32,
}

impl Standing {
    fn of(mail: &Model) -> Self {
        Self {
            state: mail.state,
            attempts: mail.attempts,
        }
    }
}

/// Sends a mail again that failed, under its first Message-ID.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a mail that did not fail.
pub async fn retry(act: &Act, key: &str, command: RetryMail) -> Result<Model> {
    act.staff_with(Right::RetryMail)?;
    let verb = Right::RetryMail.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, key, &command).await?;
    let is_done = once.receipt::<Receipt>()?.is_some();
    let before = Entity::find_by_id(command.mail_id)
        .one(&tx)
        .await?
        .ok_or_else(|| Error::not_found("mailId", "mail"))?;
    if is_done {
        return Ok(before);
    }
    if before.state != MailState::Failed {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "mailId",
            "Only a mail that failed can be sent again.",
        ));
    }
    let mut row = before.clone().into_active_model();
    row.state = Set(MailState::Queued);
    row.attempts = Set(0);
    row.next_try_at = Set(act.at);
    row.give_up_at = Set(outbox::give_up_at(act));
    let after = row.update(&tx).await?;
    let subject = Subject {
        kind: ABOUT_MAIL,
        id: after.id,
    };
    let standings = (Some(&Standing::of(&before)), Some(&Standing::of(&after)));
    audit::record(&tx, act, verb, subject, standings).await?;
    let receipt = Receipt { mail_id: after.id };
    once.keep(&tx, act, &receipt).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(after)
}
