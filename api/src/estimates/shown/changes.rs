//! What a revision changes against an earlier one.

use nameplate_entities::estimate_revision;
use nameplate_rules::estimate::difference::{Difference, difference};
use nameplate_rules::estimate::{ChangesBlock, Content};
use sea_orm::ConnectionTrait;

use crate::base::{Act, Result};
use crate::estimates::shown::{content, printed};
use crate::estimates::{sending, store};
use crate::shop;

/// What `content` changes against the latest revision that reached the customer; none for the first.
///
/// # Errors
/// Internal, for frozen content that cannot be read.
pub fn since_last_sent(
    others: &[estimate_revision::Model],
    content: &Content,
) -> Result<Option<ChangesBlock>> {
    let Some(last) = others.iter().rev().find(|row| row.content_json.is_some()) else {
        return Ok(None);
    };
    let earlier = printed::content(last)?;
    Ok(Some(ChangesBlock {
        since: earlier.revision,
        sentences: difference(&earlier, content).sentences(),
    }))
}

/// What a revision changes against an earlier one by its number; none if there is no such revision.
///
/// # Errors
/// Internal only.
pub async fn between(
    db: &impl ConnectionTrait,
    act: &Act,
    later: &estimate_revision::Model,
    earlier: i32,
) -> Result<Option<Difference>> {
    let revisions = store::revisions_of(db, later.estimate_id).await?;
    let found = revisions
        .iter()
        .find(|row| row.revision == earlier && earlier < later.revision);
    let Some(earlier) = found else {
        return Ok(None);
    };
    let contents = (
        as_it_reads(db, act, earlier).await?,
        as_it_reads(db, act, later).await?,
    );
    Ok(Some(difference(&contents.0, &contents.1)))
}

/// Frozen content, or what a draft would say if it were sent today.
///
/// # Errors
/// Internal, and what keeps a draft from being sent.
pub async fn as_it_reads(
    db: &impl ConnectionTrait,
    act: &Act,
    revision: &estimate_revision::Model,
) -> Result<Content> {
    if revision.content_json.is_some() {
        return printed::content(revision);
    }
    let settings = shop::settings(db).await?;
    let days = sending::days(&settings, act, revision.valid_until)?;
    let estimate = store::estimate_of(db, revision).await?;
    content::of_revision(db, &settings, (&estimate, revision), days).await
}
