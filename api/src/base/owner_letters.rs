//! Mails to the owners that are made once for a day or a month, whatever restarts.
//!
//! The row of a letter, which a unique index allows once, and the mails that carry it commit together.

use chrono::NaiveDate;
use nameplate_entities::kinds::{OwnerLetterKind, Role};
use nameplate_entities::{owner_letter, staff};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter,
    QueryOrder,
};
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::act::Act;
use super::audit::Subject;
use super::error::{Error, Result};
use super::outbox::{self, Addressee, Payload};

/// The last letter of a kind.
///
/// # Errors
/// Internal only.
pub async fn last(
    db: &impl ConnectionTrait,
    kind: OwnerLetterKind,
) -> Result<Option<owner_letter::Model>> {
    Ok(owner_letter::Entity::find()
        .filter(owner_letter::Column::Kind.eq(kind))
        .order_by_desc(owner_letter::Column::OfDay)
        .one(db)
        .await?)
}

/// Keeps what a letter says and queues it to each owner, in the transaction of who makes it; says whether there is an owner.
///
/// # Errors
/// Internal only.
pub async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    (kind, of_day): (OwnerLetterKind, NaiveDate),
    content: &impl Serialize,
) -> Result<bool> {
    let owners = owners(tx).await?;
    if owners.is_empty() {
        return Ok(false);
    }
    let content_json = serde_json::to_string(content)
        .map_err(|error| Error::caused("what a letter says", error))?;
    let row = owner_letter::ActiveModel {
        kind: Set(kind),
        of_day: Set(of_day),
        made_at: Set(act.at),
        content_json: Set(content_json),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    let about = Subject {
        kind: "owner_letter",
        id: row.id,
    };
    let payload = Payload::OwnerLetter { letter_id: row.id };
    for owner in owners {
        let to = Addressee {
            email: owner.email,
            name: owner.name,
        };
        outbox::enqueue(tx, act, &to, about, &payload).await?;
    }
    Ok(true)
}

async fn owners(db: &impl ConnectionTrait) -> Result<Vec<staff::Model>> {
    Ok(staff::Entity::find()
        .filter(staff::Column::Role.eq(Role::Owner))
        .filter(staff::Column::LeftAt.is_null())
        .order_by_asc(staff::Column::Id)
        .all(db)
        .await?)
}

/// A letter that was made.
///
/// # Errors
/// Internal only.
pub async fn get(db: &impl ConnectionTrait, letter_id: i64) -> Result<owner_letter::Model> {
    owner_letter::Entity::find_by_id(letter_id)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a mail names no letter"))
}

/// What a letter says.
///
/// # Errors
/// Internal only.
pub fn content<T: DeserializeOwned>(row: &owner_letter::Model) -> Result<T> {
    serde_json::from_str(&row.content_json)
        .map_err(|error| Error::caused("what a letter says", error))
}
