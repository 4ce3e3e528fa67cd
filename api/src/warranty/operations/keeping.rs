//! Parts taken out and kept for a payer, each under a tag.

use chrono::NaiveDate;
use nameplate_entities::kept_part;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, IntoActiveModel};
use serde::Serialize;

use super::super::store;
use super::payers::same_version;
use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::{calls, pricing, shop};

/// A part that is kept.
#[derive(Clone, Debug, Serialize)]
pub struct KeepPart {
    #[serde(skip)]
    pub idempotency_key: String,
    pub call_id: i64,
    /// From the catalogue, where it is in it.
    pub part_id: Option<i64>,
    pub description: String,
    /// By when the payer wants it back, if it does.
    pub return_by: Option<NaiveDate>,
}

/// Keeps a part that was taken out, under a tag of its own.
///
/// # Errors
/// `Forbidden`; `NotFound`, also for a call the technician has no part in; refusals name the field.
pub async fn keep_part(act: &Act, new: KeepPart) -> Result<kept_part::Model> {
    let staff_id = act.staff_with(Right::KeepPart)?;
    let verb = Right::KeepPart.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_kept_part(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let call = calls::get_own_call(&tx, act, "callId", new.call_id).await?;
    if let Some(id) = new.part_id {
        pricing::get_part(&tx, "partId", id).await?;
    }
    let mut checks = Checks::new();
    let description = checks.text("description", &new.description, LINE_MAX);
    if let Some(day) = new.return_by {
        checks.near("returnBy", day, today);
    }
    checks.finish()?;
    let row = kept_part::ActiveModel {
        number: Set(numbers::take(&tx, Series::KeptPart).await?),
        call_id: Set(call.id),
        part_id: Set(new.part_id),
        description: Set(description),
        kept_at: Set(act.at),
        kept_by: Set(staff_id),
        return_by: Set(new.return_by),
        version: Set(1),
        ..Default::default()
    };
    let row = row.insert(&tx).await?;
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// How a kept part left the shop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeftBy {
    /// To its payer, or its maker.
    SentBack,
    Scrapped,
}

/// What became of a kept part.
#[derive(Clone, Debug)]
pub struct ReleaseKeptPart {
    pub kept_part_id: i64,
    pub version: i32,
    pub on: NaiveDate,
    pub left_by: LeftBy,
    /// Carrier and number of the parcel, of one that was sent back.
    pub sent_how: Option<String>,
}

/// Writes down that a kept part was sent back or scrapped.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `WrongState` for one that left already; refusals name the field.
pub async fn release_kept_part(act: &Act, release: ReleaseKeptPart) -> Result<kept_part::Model> {
    act.staff_with(Right::ReleaseKeptPart)?;
    let tx = act.app.db.write().await?;
    let settings = shop::settings(&tx).await?;
    let before = store::get_kept_part(&tx, "keptPartId", release.kept_part_id).await?;
    same_version(before.version, release.version)?;
    let mut checks = Checks::new();
    checks.not_after("on", release.on, settings.day_of(act.at));
    checks.in_order(&[
        (
            "on",
            "The day it was kept",
            Some(settings.day_of(before.kept_at)),
        ),
        ("on", "The day it left", Some(release.on)),
    ]);
    let sent_how = checks.text_if_any("sentHow", release.sent_how.as_deref(), LINE_MAX);
    if sent_how.is_some() && release.left_by == LeftBy::Scrapped {
        let message = "A part that was scrapped was sent nowhere: leave this out, or say that it was sent back.";
        checks.refuse(ProblemCode::Malformed, "sentHow", message);
    }
    checks.finish()?;
    if before.sent_on.is_some() || before.scrapped_on.is_some() {
        let message = format!("{} left the shop already.", before.number);
        return Err(Error::refused(
            ProblemCode::WrongState,
            "keptPartId",
            message,
        ));
    }
    let mut row = before.clone().into_active_model();
    match release.left_by {
        LeftBy::SentBack => {
            row.sent_on = Set(Some(release.on));
            row.sent_how = Set(sent_how);
        }
        LeftBy::Scrapped => row.scrapped_on = Set(Some(release.on)),
    }
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::ReleaseKeptPart.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

/// Takes back what was written down by mistake of where a kept part went: it is in the shop.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `WrongState` for one that is in the shop.
pub async fn undo_kept_part_release(
    act: &Act,
    (kept_part_id, version): (i64, i32),
) -> Result<kept_part::Model> {
    act.staff_with(Right::UndoKeptPartRelease)?;
    let tx = act.app.db.write().await?;
    let before = store::get_kept_part(&tx, "keptPartId", kept_part_id).await?;
    same_version(before.version, version)?;
    if before.sent_on.is_none() && before.scrapped_on.is_none() {
        let message = format!("{} is in the shop.", before.number);
        return Err(Error::refused(
            ProblemCode::WrongState,
            "keptPartId",
            message,
        ));
    }
    let mut row = before.clone().into_active_model();
    row.sent_on = Set(None);
    row.sent_how = Set(None);
    row.scrapped_on = Set(None);
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::UndoKeptPartRelease.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "kept_part",
        id,
    }
}
