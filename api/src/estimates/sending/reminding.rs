//! Reminding a customer who has not answered, until an answer, an end, or a word that no more are wanted.
//!
//! What stays true: each reminder of a revision goes out once; none goes to somebody who answered, asked to be left
//! alone, never got the estimate, or whose link would not open.

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallState, EstimateState, MailState, ReminderKind};
use nameplate_entities::{estimate, estimate_link, estimate_reminder, estimate_revision};
use nameplate_rules::estimate::reminders::{Habit, Reminder, due, next_after, plan};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Error, Result, secret};
use crate::estimates::answering::link::{self, Live, Shown, live};
use crate::estimates::shown::content::Days;
use crate::estimates::shown::page::RemindersPage;
use crate::estimates::shown::printed;
use crate::estimates::{sending, states, store};
use crate::shop::{self, Settings};

/// Reminders of one transaction, so that nobody waits long for it.
const REMINDERS_MAX: u64 = 50;

fn plan_of(settings: &Settings, days: Days) -> Vec<(Reminder, NaiveDate)> {
    let row = &settings.row;
    let count = |days: i32| u32::try_from(days).unwrap_or(0);
    let habit = Habit {
        first_days: count(row.reminder_first_days),
        second_days: count(row.reminder_second_days),
        last_day: row.reminder_last_day,
    };
    plan(habit, days.sent_on, days.valid_until)
}

/// Day of the first reminder of what is mailed on this day and was frozen with these.
pub(in crate::estimates) fn first_day(
    settings: &Settings,
    days: Days,
    mailed_on: NaiveDate,
) -> Option<NaiveDate> {
    next_after(&plan_of(settings, days), mailed_on)
}

/// Queues the reminders that are due. Returns how many.
///
/// # Errors
/// Internal only.
pub async fn remind_due(act: &Act) -> Result<usize> {
    let mut reminded = 0;
    loop {
        let tx = act.app.db.write().await?;
        let settings = shop::settings(&tx).await?;
        let today = settings.day_of(act.at);
        let waiting = store::to_remind(&tx, today, REMINDERS_MAX).await?;
        if waiting.is_empty() {
            return Ok(reminded);
        }
        for revision in &waiting {
            if remind(&tx, act, &settings, revision, today).await? {
                reminded += 1;
            }
        }
        tx.commit().await?;
        act.app.mail_bell.notify_one();
    }
}

/// Sends one customer the reminder that is due, if one is, and notes when to look again.
async fn remind(
    tx: &impl ConnectionTrait,
    act: &Act,
    settings: &Settings,
    revision: &estimate_revision::Model,
    today: NaiveDate,
) -> Result<bool> {
    let (Some(sent_at), Some(valid_until)) = (revision.sent_at, revision.valid_until) else {
        return Err(Error::internal("a sent estimate has no day of sending"));
    };
    let days = Days {
        sent_on: settings.day_of(sent_at),
        valid_until,
    };
    let plan = plan_of(settings, days);
    let asked = store::reminders_of(tx, revision.id).await?;
    let asked = asked.iter().map(|row| of_row(row.kind)).collect::<Vec<_>>();
    let estimate = store::estimate_of(tx, revision).await?;
    let reach = reach(tx, &estimate, revision).await?;
    let reminder = due(&plan, &asked, today, valid_until);
    let next = match reach {
        Reach::Never => None,
        // The estimate itself, or our answer to a question, is still on its way: look again tomorrow.
        Reach::NotYet => today.succ_opt(),
        Reach::By(_) => next_after(&plan, today),
    };
    let goes_out = match (reminder, reach) {
        (Some(reminder), Reach::By(to)) => {
            queue(tx, act, settings, (&estimate, revision), (reminder, &to)).await?;
            true
        }
        _ => false,
    };
    states::moved(tx, act, "remindEstimate", revision, |row| {
        row.next_reminder_on = Set(next);
    })
    .await?;
    Ok(goes_out)
}

/// Whether and where a customer can be reminded.
enum Reach {
    /// No reminder makes sense any more.
    Never,
    /// The estimate, or an answer about it, has not arrived yet.
    NotYet,
    /// Where the estimate went.
    By(Addressee),
}

async fn reach(
    tx: &impl ConnectionTrait,
    estimate: &estimate::Model,
    revision: &estimate_revision::Model,
) -> Result<Reach> {
    let call = store::call(tx, estimate.call_id).await?;
    let is_open = call.is_some_and(|call| call.state == CallState::Open);
    if !is_open || estimate.reminders_stopped_at.is_some() {
        return Ok(Reach::Never);
    }
    // Whoever accepted another estimate for this work is not asked about this one.
    let accepted = store::accepted_revision(tx, estimate.call_id).await?;
    if accepted.is_some_and(|row| row.estimate_id != estimate.id && !row.billing_taken_back) {
        return Ok(Reach::Never);
    }
    // Whoever waits for an answer of ours is not nudged for theirs.
    if store::has_open_questions(tx, revision.id).await? {
        return Ok(Reach::NotYet);
    }
    let Some(mail) = store::last_mail_of(tx, estimate.id).await? else {
        return Ok(Reach::Never);
    };
    Ok(match mail.state {
        MailState::Sent => Reach::By(Addressee {
            email: mail.to_email,
            name: mail.to_name,
        }),
        MailState::Queued | MailState::Sending | MailState::Waiting => Reach::NotYet,
        MailState::Failed | MailState::Dropped => Reach::Never,
    })
}

async fn queue(
    tx: &impl ConnectionTrait,
    act: &Act,
    settings: &Settings,
    (estimate, revision): (&estimate::Model, &estimate_revision::Model),
    (reminder, to): (Reminder, &Addressee),
) -> Result<()> {
    estimate_reminder::ActiveModel {
        revision_id: Set(revision.id),
        kind: Set(for_row(reminder)),
        asked_at: Set(act.at),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    let token = sending::link(tx, act, settings, revision).await?;
    let payload = Payload::Reminder {
        revision_id: revision.id,
        link_token: token.reveal().to_owned(),
        ends_soon: reminder == Reminder::LastDay,
    };
    let about = Subject {
        kind: "estimate",
        id: estimate.id,
    };
    outbox::enqueue(tx, act, to, about, &payload).await?;
    Ok(())
}

fn of_row(kind: ReminderKind) -> Reminder {
    match kind {
        ReminderKind::First => Reminder::First,
        ReminderKind::Second => Reminder::Second,
        ReminderKind::LastDay => Reminder::LastDay,
    }
}

fn for_row(reminder: Reminder) -> ReminderKind {
    match reminder {
        Reminder::First => ReminderKind::First,
        Reminder::Second => ReminderKind::Second,
        Reminder::LastDay => ReminderKind::LastDay,
    }
}

/// Asks whether no more reminders are wanted. Changes nothing.
///
/// # Errors
/// Internal only.
pub async fn ask(act: &Act, token: &str) -> Result<Shown> {
    let db = act.app.db.read();
    let settings = shop::settings(db).await?;
    Ok(match live(db, act, token).await? {
        Live::Link(link) => {
            let revision = store::get_revision(db, "", link.revision_id).await?;
            match revision.state {
                EstimateState::Sent => {
                    page(&settings, &store::estimate_of(db, &revision).await?, token)
                }
                // There is nothing to be reminded of any more.
                _ => link::open(act, token).await?,
            }
        }
        other => other.shown(&settings),
    })
}

/// Stops the reminders of an estimate; the second time nothing changes.
///
/// # Errors
/// Internal only.
pub async fn stop(act: &Act, token: &str) -> Result<Shown> {
    // Looked up first by reading: strangers who guess must not hold up writers.
    let first = ask(act, token).await?;
    if !matches!(&first, Shown::Reminders(page) if !page.are_stopped) {
        return Ok(first);
    }
    let tx = act.app.db.write().await?;
    let Live::Link(link) = live(&tx, act, token).await? else {
        return Ok(first);
    };
    let before = estimate_behind(&tx, &link).await?;
    let mut row = before.clone().into_active_model();
    row.reminders_stopped_at = Set(Some(act.at));
    let after = row.update(&tx).await?;
    let subject = Subject {
        kind: "estimate",
        id: after.id,
    };
    let rows = (Some(&before), Some(&after));
    audit::record(&tx, act, "stopReminders", subject, rows).await?;
    for revision in store::revisions_of(&tx, after.id).await? {
        if revision.next_reminder_on.is_some() {
            states::moved(&tx, act, "stopReminders", &revision, |row| {
                row.next_reminder_on = Set(None);
            })
            .await?;
        }
    }
    let settings = shop::settings(&tx).await?;
    tx.commit().await?;
    Ok(page(&settings, &after, token))
}

async fn estimate_behind(
    db: &impl ConnectionTrait,
    link: &estimate_link::Model,
) -> Result<estimate::Model> {
    let revision = store::get_revision(db, "", link.revision_id).await?;
    store::estimate_of(db, &revision).await
}

fn page(settings: &Settings, estimate: &estimate::Model, token: &str) -> Shown {
    Shown::Reminders(RemindersPage {
        shop: printed::shop_view(settings),
        token: token.to_owned(),
        number: estimate.number.clone(),
        are_stopped: estimate.reminders_stopped_at.is_some(),
    })
}

/// Why a mail about a revision need not leave any more; none while it should.
///
/// # Errors
/// Internal only.
pub async fn moot(
    act: &Act,
    (revision_id, link_token): (i64, &str),
    is_reminder: bool,
) -> Result<Option<&'static str>> {
    use nameplate_entities::kinds::EstimateState::{
        Accepted, Declined, Draft, Expired, Invoiced, Sent, Superseded,
    };
    let db = act.app.db.read();
    let revision = store::get_revision(db, "", revision_id).await?;
    Ok(match revision.state {
        Sent => {
            let settings = shop::settings(db).await?;
            let ended = revision
                .valid_until
                .is_some_and(|day| settings.end_of(day) <= act.at);
            let stopped = is_reminder
                && store::estimate_of(db, &revision)
                    .await?
                    .reminders_stopped_at
                    .is_some();
            if store::is_stopped(db, &secret::hash(link_token)).await? {
                Some("the estimate was sent again with another link")
            } else if ended {
                Some("the estimate ended before this could leave")
            } else if stopped {
                Some("the customer wants no more reminders")
            } else {
                None
            }
        }
        // The estimate itself is the customer's copy of what was agreed.
        Accepted | Invoiced if !is_reminder => None,
        Accepted | Invoiced | Declined => Some("the estimate was answered before this could leave"),
        Draft | Expired | Superseded => Some("the estimate is offered no more"),
    })
}
