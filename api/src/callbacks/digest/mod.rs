//! One mail in the morning to each owner: what came back, and what still waits.
//!
//! What must stay true: a day has one digest, whatever restarts; days on which nothing is new have none. Its row and the
//! mails that carry it are written in one transaction, and what it says is what was so then.

mod found;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use nameplate_entities::kinds::{FlagLevel, FlagState, OwnerLetterKind};
use nameplate_entities::{appliance, owner_letter};
use sea_orm::ConnectionTrait;

use crate::base::letter::{DigestEntry, DigestMail, DigestSection};
use crate::base::owner_letters;
use crate::base::{Act, Result, wording};
use crate::shop::{self, Settings};

use found::{CallbackRow, FlagRow, Listed, Which};

/// The hour of the shop's day before which no digest is made.
const FROM_HOUR: u32 = 7;
/// How far back the first digest looks.
const FIRST_DAYS: i64 = 1;

/// Tells the owners what came back, once a day from seven on; nothing while nothing is new, or when they want none.
///
/// # Errors
/// Internal only.
pub async fn tell_what_came_back(act: &Act) -> Result<()> {
    let db = act.app.db.read();
    if due(db, act).await?.is_none() {
        return Ok(());
    }
    // Asked again with the one writer's place, so that two servers do not tell twice.
    let tx = act.app.db.write().await?;
    let Some((today, mail)) = due(&tx, act).await? else {
        return Ok(());
    };
    if owner_letters::write(&tx, act, (OwnerLetterKind::Digest, today), &mail).await? {
        tx.commit().await?;
        act.app.mail_bell.notify_one();
    }
    Ok(())
}

/// The day and what to tell of it, if it is time to.
async fn due(db: &impl ConnectionTrait, act: &Act) -> Result<Option<(NaiveDate, DigestMail)>> {
    let settings = shop::settings(db).await?;
    let today = settings.day_of(act.at);
    if !settings.row.flag_digest || settings.hour_of(act.at) < FROM_HOUR {
        return Ok(None);
    }
    let last = owner_letters::last(db, OwnerLetterKind::Digest).await?;
    if last.as_ref().is_some_and(|last| last.of_day >= today) {
        return Ok(None);
    }
    let since = since(act, last.as_ref());
    let found = Found::since(db, since).await?;
    Ok(found.news().map(|headline| {
        let mail = found.told(&settings, (today, since), headline);
        (today, mail)
    }))
}

fn since(act: &Act, last: Option<&owner_letter::Model>) -> DateTime<Utc> {
    last.map_or(act.at - TimeDelta::days(FIRST_DAYS), |last| last.made_at)
}

/// All there is to tell.
struct Found {
    raised: Listed<FlagRow>,
    reopened: Listed<FlagRow>,
    waiting: Listed<FlagRow>,
    undecided: Listed<CallbackRow>,
    newly_proposed: u64,
}

impl Found {
    async fn since(db: &impl ConnectionTrait, since: DateTime<Utc>) -> Result<Self> {
        Ok(Self {
            raised: found::flags(db, Which::Raised(since)).await?,
            reopened: found::flags(db, Which::Reopened(since)).await?,
            waiting: found::flags(db, Which::Waiting(since)).await?,
            undecided: found::undecided(db).await?,
            newly_proposed: found::newly_proposed(db, since).await?,
        })
    }

    /// What is new, in one line; none for nothing.
    fn news(&self) -> Option<String> {
        let news = [
            counted(self.raised.count, ("flag raised", "flags raised")),
            counted(
                self.reopened.count,
                ("flag opened again", "flags opened again"),
            ),
            counted(
                self.newly_proposed,
                ("new callback to decide", "new callbacks to decide"),
            ),
        ];
        let news = news.into_iter().flatten().collect::<Vec<_>>().join(", ");
        (!news.is_empty()).then_some(news)
    }

    fn told(
        &self,
        settings: &Settings,
        (today, since): (NaiveDate, DateTime<Utc>),
        headline: String,
    ) -> DigestMail {
        let flags = |title: &str, listed: &Listed<FlagRow>| {
            let entry = |row: &FlagRow| of_flag(row, (today, settings.day_of(row.flag.raised_at)));
            section(title, listed, entry)
        };
        let sections = [
            flags("Flags raised", &self.raised),
            flags("Flags opened again", &self.reopened),
            flags("Flags that still wait for an answer", &self.waiting),
            section("Callbacks to decide", &self.undecided, of_callback),
        ];
        DigestMail {
            shop_name: settings.row.name.clone(),
            day: wording::day(today),
            headline,
            since: settings.in_words(since),
            sections: sections.into_iter().flatten().collect(),
        }
    }
}

fn counted(count: u64, (one, many): (&str, &str)) -> Option<String> {
    match count {
        0 => None,
        1 => Some(format!("1 {one}")),
        _ => Some(format!("{count} {many}")),
    }
}

fn section<T>(
    title: &str,
    listed: &Listed<T>,
    entry: impl Fn(&T) -> DigestEntry,
) -> Option<DigestSection> {
    (listed.count > 0).then(|| DigestSection {
        title: format!("{title} ({})", listed.count),
        entries: listed.rows.iter().map(entry).collect(),
        more: match listed.rest() {
            0 => String::new(),
            rest => format!("And {rest} more, newer than these."),
        },
    })
}

fn of_flag(row: &FlagRow, (today, raised_on): (NaiveDate, NaiveDate)) -> DigestEntry {
    let asks = match row.flag.level {
        FlagLevel::Act => "Asks to act",
        FlagLevel::Watch => "Asks to watch",
    };
    let stands = match row.flag.state {
        FlagState::Open => "nobody has looked at it yet",
        FlagState::Acknowledged => "seen, and not answered yet",
        FlagState::Answered => "answered, and not closed yet",
        FlagState::Closed => "closed",
    };
    let ago = match (today - raised_on).num_days() {
        ..=0 => "today".to_owned(),
        1 => "yesterday".to_owned(),
        days => format!("{days} days ago"),
    };
    DigestEntry {
        headline: format!("Call {}: {}", row.call.number, named(&row.machine)),
        sentences: vec![
            row.flag.reason.clone(),
            format!("{asks}; {stands}. Raised {ago}."),
        ],
    }
}

fn of_callback(row: &CallbackRow) -> DigestEntry {
    let earlier = (row.earlier.as_ref()).map_or("an earlier call", |call| call.number.as_str());
    let days = match row.callback.age_days {
        1 => "1 day".to_owned(),
        days => format!("{days} days"),
    };
    DigestEntry {
        headline: format!("Call {}: {}", row.call.number, named(&row.machine)),
        sentences: vec![format!(
            "It may be the return of {earlier}, completed {days} before. Confirm or reject it."
        )],
    }
}

/// A machine by make, model and what it bears.
fn named(machine: &appliance::Model) -> String {
    let mark = machine.serial.as_deref().or(machine.shop_tag.as_deref());
    [Some(machine.make.as_str()), Some(&machine.model), mark]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(" ")
}
