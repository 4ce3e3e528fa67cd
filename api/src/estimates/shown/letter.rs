//! The mail that carries an estimate: its link, and the same as PDF.

use nameplate_documents::{Picture, estimate_pdf};
use nameplate_entities::kinds::EstimateDelivery;
use nameplate_rules::estimate::Content;
use sea_orm::ConnectionTrait;

use crate::base::config::Config;
use crate::base::letter::{Attachment, Outgoing};
use crate::base::{Error, Result};
use crate::estimates::answering::answered::Agreement;
use crate::estimates::shown::printed;
use crate::estimates::store;
use crate::estimates::writing::pictures;
use crate::shop::{self, Settings};

/// The mail of a sent revision, with the whole address of its link.
///
/// # Errors
/// Internal, for a revision that was never sent or a PDF that cannot be made.
pub async fn letter(
    db: &impl ConnectionTrait,
    config: &Config,
    revision_id: i64,
    link_token: &str,
) -> Result<Outgoing> {
    let revision = store::get_revision(db, "", revision_id).await?;
    let content = printed::content(&revision)?;
    let attachment = Attachment {
        file_name: printed::file_name(&content),
        content_type: "application/pdf".to_owned(),
        bytes: pdf(db, revision.id, content.clone(), None).await?,
    };
    let rendered = printed::mail(content, address(config, link_token))
        .render()
        .map_err(|error| Error::caused("mail of an estimate", error))?;
    Ok(Outgoing {
        without: None,
        rendered,
        attachments: vec![attachment],
    })
}

/// The mail that reminds of a sent revision, with a link to answer and one to hear no more of it.
///
/// # Errors
/// Internal only.
pub async fn reminder(
    db: &impl ConnectionTrait,
    config: &Config,
    revision_id: i64,
    (link_token, ends_soon): (&str, bool),
) -> Result<Outgoing> {
    let revision = store::get_revision(db, "", revision_id).await?;
    let link = address(config, link_token);
    let stop_link = format!("{link}/reminders");
    let mail = printed::reminder(printed::content(&revision)?, (link, stop_link), ends_soon);
    let rendered = mail
        .render()
        .map_err(|error| Error::caused("reminder of an estimate", error))?;
    Ok(Outgoing {
        without: None,
        rendered,
        attachments: Vec::new(),
    })
}

/// The mail that confirms an acceptance, with what was accepted as PDF.
///
/// # Errors
/// Internal only.
pub async fn confirmation(
    db: &impl ConnectionTrait,
    settings: &Settings,
    revision_id: i64,
) -> Result<Outgoing> {
    let revision = store::get_revision(db, "", revision_id).await?;
    let content = printed::content(&revision)?;
    let agreement = Agreement::of(db, settings, (&revision, &content)).await?;
    let accepted = agreement.as_ref().map(Agreement::sentence);
    let first = agreement.as_ref().and_then(Agreement::first);
    let attachment = Attachment {
        file_name: printed::file_name(&content),
        content_type: "application/pdf".to_owned(),
        bytes: pdf(db, revision.id, content.clone(), accepted.clone()).await?,
    };
    let sentences = accepted.into_iter().chain(first).collect();
    let rendered = printed::confirmation(content, sentences)
        .render()
        .map_err(|error| Error::caused("confirmation of an answer", error))?;
    Ok(Outgoing {
        without: None,
        rendered,
        attachments: vec![attachment],
    })
}

/// The PDF of a revision for the desk, with its answer if it has one; none for a draft.
///
/// # Errors
/// `NotFound`; internal, for a PDF that cannot be made.
pub async fn printed_pdf(
    db: &impl ConnectionTrait,
    revision_id: i64,
) -> Result<Option<Attachment>> {
    let revision = store::get_revision(db, "", revision_id).await?;
    if revision.content_json.is_none() {
        return Ok(None);
    }
    let settings = shop::settings(db).await?;
    let content = printed::content(&revision)?;
    let agreement = Agreement::of(db, &settings, (&revision, &content)).await?;
    let accepted = agreement.map(|agreement| agreement.sentence());
    Ok(Some(Attachment {
        file_name: printed::file_name(&content),
        content_type: "application/pdf".to_owned(),
        bytes: pdf(db, revision.id, content, accepted).await?,
    }))
}

/// The PDF of frozen content with its pictures and, once accepted, one sentence on that. Typesetting takes long, so it leaves the async threads alone.
///
/// # Errors
/// Internal only.
pub async fn pdf(
    db: &impl ConnectionTrait,
    revision_id: i64,
    content: Content,
    accepted: Option<String>,
) -> Result<Vec<u8>> {
    let shown = pictures::shown(db, revision_id).await?;
    let picture = |(words, jpeg)| Picture { words, jpeg };
    let shown = shown.into_iter().map(picture).collect();
    let revision = store::get_revision(db, "", revision_id).await?;
    let by_link = revision.delivery != Some(EstimateDelivery::Hand);
    let document = printed::document(content, shown, (by_link, accepted));
    tokio::task::spawn_blocking(move || estimate_pdf(&document))
        .await
        .map_err(|error| Error::caused("typesetting an estimate", error))?
        .map_err(|error| Error::caused("PDF of an estimate", error))
}

/// The whole address behind which this token opens its estimate.
pub fn address(config: &Config, link_token: &str) -> String {
    let base = config.public_url.as_ref().map_or_else(
        || format!("http://{}", config.listen),
        |url| url.trim_end_matches('/').to_owned(),
    );
    format!("{base}/e/{link_token}")
}
