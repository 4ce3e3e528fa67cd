//! Pictures on an estimate: chosen by the desk, kept by hash with the revision, shown on page and PDF.
//!
//! What stays true: a revision shows pictures of its own call, machine or findings only; each is the one that
//! was chosen, byte for byte; and a picture that an estimate shows is not taken away from under it.

use std::collections::HashMap;

use nameplate_entities::kinds::{AttachmentKind, AttachmentSize};
use nameplate_entities::{
    attachment, component, estimate_picture, failure_mode, finding, service_call,
};
use nameplate_rules::estimate::Picture;
use sea_orm::{
    ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder,
};
use serde::Serialize;

use crate::attachments;
use crate::base::check::LINE_MAX;
use crate::base::digest::sha256;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};

/// Most pictures on one estimate; a page on a phone should open quickly.
pub(in crate::estimates) const PICTURES_MAX: usize = 8;

/// A picture the desk chose.
#[derive(Clone, Debug, Serialize)]
pub struct NewPicture {
    pub attachment_id: i64,
    /// What it shows, if not in the words of its finding or caption.
    pub words: Option<String>,
}

/// Holds the chosen pictures against the door and trims their words.
pub(in crate::estimates) fn check(checks: &mut Checks, pictures: &mut [NewPicture]) {
    if pictures.len() > PICTURES_MAX {
        let words = format!("This takes at most {PICTURES_MAX}.");
        checks.refuse(ProblemCode::TooLong, "pictures", words);
        return;
    }
    let mut seen = Vec::new();
    for (at, picture) in pictures.iter_mut().enumerate() {
        let path = format!("pictures.{at}.words");
        picture.words = checks.text_if_any(&path, picture.words.as_deref(), LINE_MAX);
        if seen.contains(&picture.attachment_id) {
            let path = format!("pictures.{at}.attachmentId");
            let words = "This picture is chosen twice.";
            checks.refuse(ProblemCode::Malformed, &path, words);
        }
        seen.push(picture.attachment_id);
    }
}

/// Writes down which pictures a new revision shows.
///
/// # Errors
/// `NotFound` for one that is not of this call, its machine or its findings; `Malformed` for a paper.
pub(in crate::estimates) async fn write(
    tx: &impl ConnectionTrait,
    call: &service_call::Model,
    revision_id: i64,
    pictures: Vec<NewPicture>,
) -> Result<()> {
    if pictures.is_empty() {
        return Ok(());
    }
    let attached = attachments::attached_to_call(tx, call).await?;
    let attached: HashMap<i64, attachment::Model> =
        attached.into_iter().map(|row| (row.id, row)).collect();
    let mut checks = Checks::new();
    for (at, picture) in pictures.iter().enumerate() {
        let path = format!("pictures.{at}.attachmentId");
        match attached.get(&picture.attachment_id) {
            None => checks.refuse(
                ProblemCode::NotFound,
                &path,
                "There is no such picture of this call, its machine or its findings.",
            ),
            Some(row) if !attachments::is_picture(&row.media_type) => checks.refuse(
                ProblemCode::Malformed,
                &path,
                "This is a paper; only pictures are shown on an estimate.",
            ),
            Some(_) => {}
        }
    }
    checks.finish()?;
    let findings = words_of_findings(tx, attached.values()).await?;
    let hashes = hashes(tx, pictures.iter().map(|picture| picture.attachment_id)).await?;
    let mut rows = Vec::with_capacity(pictures.len());
    for (position, picture) in (1..).zip(pictures) {
        let id = picture.attachment_id;
        let gone = || Error::internal("a picture without its bytes");
        let row = attached.get(&id).ok_or_else(gone)?;
        let words = picture.words.unwrap_or_else(|| usual_words(row, &findings));
        rows.push(estimate_picture::ActiveModel {
            revision_id: Set(revision_id),
            position: Set(position),
            attachment_id: Set(id),
            words: Set(words),
            sha256: Set(hashes.get(&id).ok_or_else(gone)?.clone()),
            ..Default::default()
        });
    }
    estimate_picture::Entity::insert_many(rows).exec(tx).await?;
    Ok(())
}

/// What a picture shows, unless the desk says otherwise: its finding, its caption, or what it was taken of.
fn usual_words(row: &attachment::Model, findings: &HashMap<i64, String>) -> String {
    let of_finding = row.finding_id.and_then(|id| findings.get(&id)).cloned();
    let usual = match row.kind {
        AttachmentKind::Plate => "The rating plate",
        AttachmentKind::ProofOfPurchase => "The proof of purchase",
        AttachmentKind::Damage => "The damage",
        AttachmentKind::Before => "Before the work",
        AttachmentKind::After => "After the work",
        AttachmentKind::Other => "A picture of the appliance",
    };
    row.caption
        .clone()
        .or(of_finding)
        .unwrap_or_else(|| usual.to_owned())
}

/// Each finding in a few words: component, failure mode and position.
async fn words_of_findings(
    tx: &impl ConnectionTrait,
    rows: impl Iterator<Item = &attachment::Model>,
) -> Result<HashMap<i64, String>> {
    let findings = finding::Entity::find()
        .filter(finding::Column::Id.is_in(rows.filter_map(|row| row.finding_id)))
        .all(tx)
        .await?;
    let components = component::Entity::find()
        .filter(component::Column::Id.is_in(findings.iter().map(|finding| finding.component_id)))
        .all(tx)
        .await?;
    let modes = failure_mode::Entity::find()
        .filter(
            failure_mode::Column::Id.is_in(findings.iter().map(|finding| finding.failure_mode_id)),
        )
        .all(tx)
        .await?;
    let words = |finding: finding::Model| {
        let component = components
            .iter()
            .find(|component| component.id == finding.component_id)?;
        let mode = modes
            .iter()
            .find(|mode| mode.id == finding.failure_mode_id)?;
        let position = finding
            .position
            .map_or_else(String::new, |position| format!(", {position}"));
        let name = &component.name;
        let mode = mode.name.to_lowercase();
        Some((finding.id, format!("{name}{position}: {mode}")))
    };
    Ok(findings.into_iter().filter_map(words).collect())
}

async fn hashes(
    tx: &impl ConnectionTrait,
    ids: impl Iterator<Item = i64>,
) -> Result<HashMap<i64, String>> {
    let contents = attachments::content_of(tx, ids, AttachmentSize::Small).await?;
    Ok(contents
        .into_iter()
        .map(|content| (content.attachment_id, sha256(&content.bytes)))
        .collect())
}

/// The pictures of a revision, in order.
pub(in crate::estimates) async fn rows_of(
    db: &impl ConnectionTrait,
    revision_id: i64,
) -> Result<Vec<estimate_picture::Model>> {
    Ok(estimate_picture::Entity::find()
        .filter(estimate_picture::Column::RevisionId.eq(revision_id))
        .order_by_asc(estimate_picture::Column::Position)
        .all(db)
        .await?)
}

/// The pictures of a revision as its content names them.
pub(in crate::estimates) async fn frozen(
    db: &impl ConnectionTrait,
    revision_id: i64,
) -> Result<Vec<Picture>> {
    let rows = rows_of(db, revision_id).await?;
    let picture = |row: estimate_picture::Model| Picture {
        words: row.words,
        sha256: row.sha256,
    };
    Ok(rows.into_iter().map(picture).collect())
}

/// The bytes of a revision's pictures, in order, each with its words.
///
/// # Errors
/// Internal, when the bytes are not those that were chosen.
pub(in crate::estimates) async fn shown(
    db: &impl ConnectionTrait,
    revision_id: i64,
) -> Result<Vec<(String, Vec<u8>)>> {
    let rows = rows_of(db, revision_id).await?;
    let ids = rows.iter().map(|row| row.attachment_id);
    let contents = attachments::content_of(db, ids, AttachmentSize::Small).await?;
    let mut bytes: HashMap<i64, Vec<u8>> = contents
        .into_iter()
        .map(|content| (content.attachment_id, content.bytes))
        .collect();
    let picture = |row: estimate_picture::Model| {
        let bytes = bytes
            .remove(&row.attachment_id)
            .filter(|bytes| sha256(bytes) == row.sha256)
            .ok_or_else(|| Error::internal("a picture is not the one that was chosen"))?;
        Ok((row.words, bytes))
    };
    rows.into_iter().map(picture).collect()
}

/// Takes a picture or paper away, unless an estimate shows it.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one on an estimate; `Missing` without a reason.
pub async fn remove_attachment(
    act: &Act,
    attachment_id: i64,
    reason: &str,
) -> Result<attachment::Model> {
    act.staff_with(Right::RemoveAttachment)?;
    let tx = act.app.db.write().await?;
    let row = attachments::get(&tx, "attachmentId", attachment_id).await?;
    let shown = estimate_picture::Entity::find()
        .filter(estimate_picture::Column::AttachmentId.eq(row.id))
        .one(&tx)
        .await?;
    if shown.is_some() {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "attachmentId",
            "An estimate shows this picture; it stays as part of what the customer was shown.",
        ));
    }
    let after = attachments::remove(&tx, act, row, reason).await?;
    tx.commit().await?;
    Ok(after)
}
