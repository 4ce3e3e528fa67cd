//! One mail a day to those at the desk, on days when something of claims comes to its last day within a week.

use chrono::{Datelike, NaiveDate};
use nameplate_entities::kinds::Role;
use nameplate_entities::{outbox_mail, staff};
use nameplate_rules::dates::days_after;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

use super::due::{Due, Waits, due};
use crate::base::audit::Subject;
use crate::base::outbox::{self, Addressee, Payload};
use crate::base::{Act, Error, Result, wording};
use crate::shop;

/// How many days ahead the mail looks.
const WITHIN_DAYS: u32 = 7;
/// Most things that it names.
const NAMED_MAX: usize = 30;

/// Tells the desk what comes to its last day, once a day; nothing on days on which nothing does.
///
/// # Errors
/// Internal only.
pub async fn tell_what_is_due(act: &Act) -> Result<()> {
    let db = act.app.db.read();
    let today = shop::settings(db).await?.day_of(act.at);
    if found(db, today).await?.is_empty() || is_told(db, today).await? {
        return Ok(());
    }
    // Asked again with the one writer's place, so that two servers do not tell twice.
    let tx = act.app.db.write().await?;
    let dated = found(&tx, today).await?;
    if dated.is_empty() || is_told(&tx, today).await? {
        return Ok(());
    }
    let payload = Payload::Notice {
        headline: format!(
            "Claims and parts with a last day by {}",
            wording::day(last(today, &dated))
        ),
        sentences: dated
            .iter()
            .take(NAMED_MAX)
            .map(|due| sentence(due, today))
            .collect(),
    };
    let desk = staff::Entity::find()
        .filter(staff::Column::Role.is_in([Role::Owner, Role::Office]))
        .filter(staff::Column::LeftAt.is_null())
        .order_by_asc(staff::Column::Id)
        .all(&tx)
        .await?;
    for person in desk {
        let to = Addressee {
            email: person.email,
            name: person.name,
        };
        outbox::enqueue(&tx, act, &to, about(today), &payload).await?;
    }
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(())
}

/// What has a last day within the week.
async fn found(db: &impl ConnectionTrait, today: NaiveDate) -> Result<Vec<Due>> {
    let until = days_after(today, WITHIN_DAYS)
        .map_err(|refusal| Error::caused("the last day looked at", refusal))?;
    let all = due(db, (today, WITHIN_DAYS)).await?;
    let is_near = |due: &Due| due.by.is_some_and(|by| by <= until);
    Ok(all.into_iter().filter(is_near).collect())
}

/// Mails about a day have the day's number.
fn about(today: NaiveDate) -> Subject {
    Subject {
        kind: "claims_due",
        id: i64::from(today.num_days_from_ce()),
    }
}

async fn is_told(db: &impl ConnectionTrait, today: NaiveDate) -> Result<bool> {
    let about = about(today);
    let row = outbox_mail::Entity::find()
        .filter(outbox_mail::Column::SubjectKind.eq(about.kind))
        .filter(outbox_mail::Column::SubjectId.eq(about.id))
        .one(db)
        .await?;
    Ok(row.is_some())
}

fn last(today: NaiveDate, dated: &[Due]) -> NaiveDate {
    dated.iter().filter_map(|due| due.by).max().unwrap_or(today)
}

fn sentence(due: &Due, today: NaiveDate) -> String {
    let by = due.by.unwrap_or(today);
    let day = wording::day(by);
    let over = if by < today { "; that day is over" } else { "" };
    match &due.waits {
        Waits::File(row) => format!("Claim {} is to be filed by {day}{over}.", row.number),
        Waits::Answer(row) => format!("The payer asks about claim {}.", row.number),
        Waits::SendBack(row) => format!(
            "The part under tag {} is to be sent back by {day}{over}.",
            row.number
        ),
        Waits::Rest(row) => format!("Something of claim {} is left unpaid.", row.number),
        Waits::Draft(row) => format!(
            "Invoice {} has no claim; one is to be filed by {day}{over}.",
            row.number
        ),
    }
}
