//! Adding an attachment, reading its bytes, and taking it away.

use nameplate_entities::attachment;
use nameplate_entities::kinds::{AttachmentKind, AttachmentSize};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel, QueryFilter};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::digest::sha256;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};

use super::images::{self, Kept};
use super::store;

/// Most attachments on one record.
const ON_ONE_RECORD_MAX: usize = 60;
/// How adding one is named in the audit log.
const ADDED: &str = "addAttachment";

/// The record an attachment belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum On {
    Appliance(i64),
    Call(i64),
    Finding(i64),
}

impl On {
    /// The column that holds the record, and its id.
    pub fn column(self) -> (attachment::Column, i64) {
        match self {
            Self::Appliance(id) => (attachment::Column::ApplianceId, id),
            Self::Call(id) => (attachment::Column::CallId, id),
            Self::Finding(id) => (attachment::Column::FindingId, id),
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Appliance(_) => "appliance",
            Self::Call(_) => "service call",
            Self::Finding(_) => "finding",
        }
    }
}

/// A file to keep.
pub struct NewAttachment {
    pub on: On,
    pub kind: AttachmentKind,
    pub caption: Option<String>,
    pub bytes: Vec<u8>,
}

/// Keeps a picture or paper. The same file sent again to the same record gives what is there already.
///
/// # Errors
/// `Unauthenticated`; `NotFound` for a record the caller may not see; `Malformed`, `TooMuch`.
pub async fn add(act: &Act, new: NewAttachment) -> Result<attachment::Model> {
    let (staff_id, _) = act.staff()?;
    let mut checks = Checks::new();
    let caption = checks.text_if_any("caption", new.caption.as_deref(), LINE_MAX);
    checks.finish()?;
    // Looked at before anything is decoded: strangers to a record must not keep us busy.
    must_see(act.app.db.read(), act, new.on).await?;
    let source_sha256 = sha256(&new.bytes);
    let kept = images::keep(new.bytes)
        .await?
        .map_err(|unfit| Error::refused(ProblemCode::Malformed, "file", unfit.words()))?;
    let tx = act.app.db.write().await?;
    must_see(&tx, act, new.on).await?;
    let there = store::attached(&tx, new.on).await?;
    let is_full = there.len() >= ON_ONE_RECORD_MAX;
    let same = there
        .into_iter()
        .find(|row| row.source_sha256 == source_sha256 && row.kind == new.kind);
    if let Some(same) = same {
        return Ok(same);
    }
    if is_full {
        return Err(Error::refused(
            ProblemCode::TooMuch,
            "on",
            format!("A record takes at most {ON_ONE_RECORD_MAX}. Remove one first."),
        ));
    }
    let mut row = described(&kept)?;
    let (on, kind) = (new.on, new.kind);
    match on {
        On::Appliance(id) => row.appliance_id = Set(Some(id)),
        On::Call(id) => row.call_id = Set(Some(id)),
        On::Finding(id) => row.finding_id = Set(Some(id)),
    }
    row.kind = Set(kind);
    row.caption = Set(caption);
    row.source_sha256 = Set(source_sha256);
    row.added_at = Set(act.at);
    row.added_by = Set(staff_id);
    let row = row.insert(&tx).await?;
    store::add_content(&tx, row.id, (AttachmentSize::Full, kept.full)).await?;
    if let Some(small) = kept.small {
        store::add_content(&tx, row.id, (AttachmentSize::Small, small)).await?;
    }
    audit::created(&tx, act, ADDED, subject(row.id), &row).await?;
    tx.commit().await?;
    Ok(row)
}

async fn must_see(db: &impl ConnectionTrait, act: &Act, on: On) -> Result<()> {
    if store::sees(db, act, on).await? {
        Ok(())
    } else {
        Err(Error::not_found("on", on.name()))
    }
}

/// What the file itself says.
fn described(kept: &Kept) -> Result<attachment::ActiveModel> {
    let byte_count = i64::try_from(kept.full.len())
        .map_err(|error| Error::caused("size of an attachment", error))?;
    Ok(attachment::ActiveModel {
        media_type: Set(kept.media_type.to_owned()),
        width: Set(kept.pixels.map(|(width, _)| width)),
        height: Set(kept.pixels.map(|(_, height)| height)),
        byte_count: Set(byte_count),
        sha256: Set(sha256(&kept.full)),
        ..Default::default()
    })
}

/// A kept file.
pub struct File {
    pub row: attachment::Model,
    pub bytes: Vec<u8>,
}

/// The bytes of an attachment the caller may see; a paper has one size only.
///
/// # Errors
/// `Unauthenticated`.
pub async fn file(act: &Act, id: i64, size: AttachmentSize) -> Result<Option<File>> {
    act.staff()?;
    let db = act.app.db.read();
    let row = store::visible_to(act)
        .filter(sea_orm::ColumnTrait::eq(&attachment::Column::Id, id))
        .one(db)
        .await?;
    let Some(row) = row else {
        return Ok(None);
    };
    let content = store::content_of(db, [id], size).await?.pop();
    Ok(content.map(|content| File {
        row,
        bytes: content.bytes,
    }))
}

/// Takes an attachment away: its bytes are erased, and who did it and why stays.
///
/// The act lies above, where it is known whether a document shows it.
///
/// # Errors
/// `NotFound`; `Missing` or `TooLong` for the reason.
pub async fn remove(
    tx: &impl ConnectionTrait,
    act: &Act,
    before: attachment::Model,
    reason: &str,
) -> Result<attachment::Model> {
    let staff_id = act.staff_with(Right::RemoveAttachment)?;
    let mut checks = Checks::new();
    let reason = checks.text("reason", reason, LINE_MAX);
    checks.finish()?;
    let mut row = before.clone().into_active_model();
    row.removed_at = Set(Some(act.at));
    row.removed_by = Set(Some(staff_id));
    row.removed_reason = Set(Some(reason));
    let after = row.update(tx).await?;
    store::erase_content(tx, after.id).await?;
    let verb = Right::RemoveAttachment.mutation();
    let change = (Some(&before), Some(&after));
    audit::record(tx, act, verb, subject(after.id), change).await?;
    Ok(after)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "attachment",
        id,
    }
}
