//! Every change leaves who, when, and what before and after, in the same transaction.

use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use nameplate_entities::audit_entry;

use super::act::Act;
use super::error::{Error, Result};

/// What was changed.
#[derive(Clone, Copy, Debug)]
pub struct Subject {
    /// Table of the record, such as `customer`.
    pub kind: &'static str,
    pub id: i64,
}

/// Writes one audit row.
///
/// `before` is `None` for a new record. Rows leave out secrets when they are serialised.
///
/// # Errors
/// Internal, when the row cannot be written.
pub async fn record<B: Serialize, A: Serialize>(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    subject: Subject,
    (before, after): (Option<&B>, Option<&A>),
) -> Result<()> {
    audit_entry::ActiveModel {
        at: Set(act.at),
        staff_id: Set(act.staff_id()),
        actor: Set(act.actor()),
        act: Set(verb.to_owned()),
        subject_kind: Set(subject.kind.to_owned()),
        subject_id: Set(subject.id),
        before_json: Set(before.map(json).transpose()?),
        after_json: Set(after.map(json).transpose()?),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    Ok(())
}

/// Audit of a record that did not exist before.
pub async fn created<A: Serialize>(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    subject: Subject,
    after: &A,
) -> Result<()> {
    record(tx, act, verb, subject, (None::<&()>, Some(after))).await
}

fn json<T: Serialize>(value: &T) -> Result<String> {
    serde_json::to_string(value).map_err(|error| Error::caused("audit entry", error))
}
