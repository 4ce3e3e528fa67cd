//! The month's mail to the owners: how the shop did, in figures, words and pictures.
//!
//! Words: a *summary* is about one month that is over. What must stay true: a month has one summary, whatever restarts,
//! made by the first round after it; a month in which nothing happened has none; what it says is what was so then.

mod figures;
mod first_visits;
mod flags;
mod letter;
mod record;

use chrono::{Datelike, Days, NaiveDate};
use nameplate_entities::kinds::OwnerLetterKind;
use sea_orm::ConnectionTrait;

use crate::base::{Act, Result, owner_letters};
use crate::shop;

pub use figures::{Month, Told};
pub use first_visits::picture as first_visits_picture;

/// Tells the owners how the last month went, once.
///
/// # Errors
/// Internal only.
pub async fn tell_of_month(act: &Act) -> Result<()> {
    let db = act.app.db.read();
    let Some(first_day) = due(db, act).await? else {
        return Ok(());
    };
    let mut month = figures::of_month(db, first_day).await?;
    if month.is_empty() {
        return Ok(());
    }
    let record = record::of_month(act, figures::days_of(first_day)?).await?;
    month.callback_rate = record.callback_rate;
    month.first_visit = record.first_visit;
    month.worries = record.worries;
    month.pictures = record.pictures;
    let mail = letter::of_month(&month, &shop::settings(db).await?);
    // Asked again with the one writer's place, so that two servers do not tell twice.
    let tx = act.app.db.write().await?;
    let is_due = due(&tx, act).await? == Some(first_day);
    if is_due
        && owner_letters::write(&tx, act, (OwnerLetterKind::Summary, first_day), &mail).await?
    {
        tx.commit().await?;
        act.app.mail_bell.notify_one();
    }
    Ok(())
}

/// The first day of the last month, if that was not told of yet.
async fn due(db: &impl ConnectionTrait, act: &Act) -> Result<Option<NaiveDate>> {
    let today = shop::settings(db).await?.day_of(act.at);
    let last_month = first_of(first_of(today) - Days::new(1));
    let told = owner_letters::last(db, OwnerLetterKind::Summary).await?;
    Ok(told
        .is_none_or(|told| told.of_day < last_month)
        .then_some(last_month))
}

fn first_of(day: NaiveDate) -> NaiveDate {
    day.with_day(1).unwrap_or(day)
}
