//! Rows of the shop, its staff and their sessions.

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, TimeZone, Timelike, Utc};
use chrono_tz::Tz;
use nameplate_entities::kinds::Role;
use nameplate_entities::{session, shop, staff};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, Condition, ConnectionTrait, EntityTrait,
    IntoActiveModel, QueryFilter, QueryOrder,
};

use crate::base::{Error, Result};

/// The shop's settings as other capabilities use them.
#[derive(Clone, Debug)]
pub struct Settings {
    pub row: shop::Model,
    zone: Tz,
}

impl Settings {
    /// The settings that this row holds.
    ///
    /// # Errors
    /// Internal, for a time zone nobody knows.
    pub fn of(row: shop::Model) -> Result<Self> {
        let zone = row
            .time_zone
            .parse()
            .map_err(|_| Error::internal("the shop's time zone is unknown"))?;
        Ok(Self { row, zone })
    }

    /// The calendar day at `at` where the shop is.
    pub fn day_of(&self, at: DateTime<Utc>) -> NaiveDate {
        at.with_timezone(&self.zone).date_naive()
    }

    /// The hour of the day at `at` where the shop is.
    pub fn hour_of(&self, at: DateTime<Utc>) -> u32 {
        at.with_timezone(&self.zone).hour()
    }

    /// The first instant after `day` where the shop is.
    pub fn end_of(&self, day: NaiveDate) -> DateTime<Utc> {
        let next = day.succ_opt().unwrap_or(day).and_time(NaiveTime::MIN);
        // Where clocks skip midnight the day begins an hour later.
        [next, next + TimeDelta::hours(1)]
            .iter()
            .find_map(|start| self.zone.from_local_datetime(start).earliest())
            .map_or_else(|| next.and_utc(), |start| start.with_timezone(&Utc))
    }

    /// An instant in words, by the shop's clock: `November 25, 2026 at 3:04 PM`.
    pub fn in_words(&self, at: DateTime<Utc>) -> String {
        at.with_timezone(&self.zone)
            .format("%B %-d, %Y at %-I:%M %p")
            .to_string()
    }
}

/// The settings.
///
/// # Errors
/// Internal, when the shop was never opened.
pub async fn settings(db: &impl ConnectionTrait) -> Result<Settings> {
    let row = shop::Entity::find_by_id(1)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("the shop's settings are missing"))?;
    Settings::of(row)
}

/// Writes through which day the books are closed, if any; the rule behind it is that of `books`.
///
/// # Errors
/// Internal only.
pub async fn close_books_through(
    tx: &impl ConnectionTrait,
    before: &shop::Model,
    through: Option<NaiveDate>,
) -> Result<shop::Model> {
    let mut row = before.clone().into_active_model();
    row.books_closed_through = Set(through);
    row.version = Set(before.version + 1);
    Ok(row.update(tx).await?)
}

/// The shop's postal address as printed.
pub fn address_lines(row: &shop::Model) -> Vec<String> {
    let town =
        (!row.city.is_empty()).then(|| format!("{}, {} {}", row.city, row.region, row.postal_code));
    [Some(row.line1.clone()), row.line2.clone(), town]
        .into_iter()
        .flatten()
        .filter(|line| !line.is_empty())
        .collect()
}

pub async fn has_settings(db: &impl ConnectionTrait) -> Result<bool> {
    Ok(shop::Entity::find_by_id(1).one(db).await?.is_some())
}

pub async fn staff_by_email(
    db: &impl ConnectionTrait,
    email: &str,
) -> Result<Option<staff::Model>> {
    Ok(staff::Entity::find()
        .filter(staff::Column::Email.eq(email))
        .one(db)
        .await?)
}

pub async fn staff_by_id(db: &impl ConnectionTrait, id: i64) -> Result<Option<staff::Model>> {
    Ok(staff::Entity::find_by_id(id).one(db).await?)
}

/// Everybody who works or worked here, by name. A small shop: the list is short.
/// The technician who works here, whom the input names at `path`.
///
/// # Errors
/// `NotFound`, also for somebody of another role, or who left.
pub async fn get_technician(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<staff::Model> {
    staff_by_id(db, id)
        .await?
        .filter(|row| row.role == Role::Technician && row.left_at.is_none())
        .ok_or_else(|| Error::not_found(path, "technician"))
}

pub async fn all_staff(db: &impl ConnectionTrait) -> Result<Vec<staff::Model>> {
    Ok(staff::Entity::find()
        .order_by_asc(staff::Column::Name)
        .all(db)
        .await?)
}

/// How a session is named.
pub enum SessionBy {
    TokenHash(String),
    Id(i64),
}

/// The session, if it is live, and whose it is.
pub async fn live_session(
    db: &impl ConnectionTrait,
    by: SessionBy,
    (at, idle): (DateTime<Utc>, TimeDelta),
) -> Result<Option<(session::Model, staff::Model)>> {
    let named = match by {
        SessionBy::TokenHash(hash) => session::Column::TokenHash.eq(hash),
        SessionBy::Id(id) => session::Column::Id.eq(id),
    };
    let Some(session) = session::Entity::find()
        .filter(named)
        .filter(session::Column::EndedAt.is_null())
        .filter(session::Column::ExpiresAt.gt(at))
        .filter(session::Column::LastSeenAt.gt(at - idle))
        .one(db)
        .await?
    else {
        return Ok(None);
    };
    let staff = staff_by_id(db, session.staff_id).await?;
    Ok(staff
        .filter(|staff| staff.left_at.is_none())
        .map(|staff| (session, staff)))
}

pub async fn end_sessions_of(
    tx: &impl ConnectionTrait,
    staff_id: i64,
    at: DateTime<Utc>,
) -> Result<()> {
    session::Entity::update_many()
        .set(session::ActiveModel {
            ended_at: Set(Some(at)),
            ..Default::default()
        })
        .filter(session::Column::StaffId.eq(staff_id))
        .filter(session::Column::EndedAt.is_null())
        .exec(tx)
        .await?;
    Ok(())
}

/// Removes sessions that ended or ran out before `before`.
pub async fn remove_sessions(tx: &impl ConnectionTrait, before: DateTime<Utc>) -> Result<u64> {
    let is_over = Condition::any()
        .add(session::Column::EndedAt.lt(before))
        .add(session::Column::ExpiresAt.lt(before));
    let removed = session::Entity::delete_many()
        .filter(is_over)
        .exec(tx)
        .await?;
    Ok(removed.rows_affected)
}

pub async fn end_session(tx: &impl ConnectionTrait, id: i64, at: DateTime<Utc>) -> Result<()> {
    session::ActiveModel {
        id: Set(id),
        ended_at: Set(Some(at)),
        ..Default::default()
    }
    .update(tx)
    .await?;
    Ok(())
}

pub async fn touch_session(tx: &impl ConnectionTrait, id: i64, at: DateTime<Utc>) -> Result<()> {
    session::ActiveModel {
        id: Set(id),
        last_seen_at: Set(at),
        ..Default::default()
    }
    .update(tx)
    .await?;
    Ok(())
}
