//! All of a claim in one file: `claim.json`, `claim.csv`, `claim.pdf`, the schema of the JSON, and the papers.
//!
//! What must stay true: the same content and papers give the same bytes, so that what was sent is known by its hash; the
//! size is bounded; nothing is in it that the payer does not need, above all no cost and no margin of the shop.

mod content;
mod csv;
mod pdf;

use std::io::{Cursor, Write};

use nameplate_entities::kinds::AttachmentSize;
use nameplate_entities::{claim, claim_sending};
use sea_orm::ConnectionTrait;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use super::known::Known;
use super::store;
use crate::base::digest::sha256;
use crate::base::letter::Attachment;
use crate::base::{Act, Error, ProblemCode, Result};
use crate::{attachments, coverage, shop};

pub use content::{Content, Submission};

/// What `claim.json` is made of, as JSON Schema (draft 2020-12).
pub const SCHEMA: &str = include_str!("../claim.schema.json");

/// Most bytes of all papers together.
const PAPER_BYTES_MAX: i64 = 60 * 1024 * 1024;

/// An archive and what it is known by.
#[derive(Clone, Debug)]
pub struct Archive {
    pub content: Content,
    pub bytes: Vec<u8>,
    pub sha256: String,
}

/// The archive of a claim as it is now.
///
/// # Errors
/// `TooMuch` at `claimId` for papers larger than an archive takes.
pub async fn of_now(
    db: &impl ConnectionTrait,
    known: &Known,
    submission: Option<Submission>,
) -> Result<Archive> {
    let settings = shop::settings(db).await?;
    let customer = crate::customers::get_customer(db, "", known.call.customer_id).await?;
    let address = store::address(db, known.call.service_address_id).await?;
    let payer = crate::customers::get_customer(db, "", known.payer.customer_id).await?;
    let says = coverage::line_words(db, &known.decision).await?;
    let places = content::Places {
        settings: &settings,
        customer: &customer,
        address: address.as_ref(),
        payer: &payer,
        says: &says,
    };
    let content = Content::of(known, &places, submission);
    made(db, content).await
}

/// An archive from its content; papers whose bytes are gone are left out.
///
/// # Errors
/// `TooMuch`; internal, when the typesetter fails.
async fn made(db: &impl ConnectionTrait, content: Content) -> Result<Archive> {
    let bytes_of_papers: i64 = content
        .papers
        .iter()
        .filter_map(|paper| paper.byte_count)
        .sum();
    if bytes_of_papers > PAPER_BYTES_MAX {
        let message = format!(
            "The papers of this claim have {} MB; an archive takes {} MB.",
            bytes_of_papers / 1_000_000,
            PAPER_BYTES_MAX / 1_000_000
        );
        return Err(Error::refused(ProblemCode::TooMuch, "claimId", message));
    }
    let files = files(db, &content).await?;
    tokio::task::spawn_blocking(move || packed(content, files))
        .await
        .map_err(|error| Error::caused("archive of a claim", error))?
}

/// A file of the archive: its name and bytes.
type File = (String, Vec<u8>);

async fn files(db: &impl ConnectionTrait, content: &Content) -> Result<Vec<File>> {
    let ids: Vec<i64> = content
        .papers
        .iter()
        .filter_map(|paper| paper.attachment)
        .collect();
    let found = attachments::content_of(db, ids, AttachmentSize::Full).await?;
    Ok((content.papers.iter())
        .filter_map(|paper| {
            let id = paper.attachment?;
            let bytes = found.iter().find(|row| row.attachment_id == id)?;
            Some((paper.file.clone()?, bytes.bytes.clone()))
        })
        .collect())
}

fn packed(content: Content, papers: Vec<File>) -> Result<Archive> {
    let json = content.json()?;
    let mut files = vec![
        ("claim.json".to_owned(), json),
        ("claim.csv".to_owned(), csv::of(&content)?),
        ("claim.pdf".to_owned(), pdf::of(&content)?),
        ("claim.schema.json".to_owned(), SCHEMA.as_bytes().to_vec()),
    ];
    files.extend(papers);
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        // Pictures and scans are compressed already. No entry carries a time, so that the bytes stay the same.
        let method = if name.starts_with("attachments/") {
            CompressionMethod::Stored
        } else {
            CompressionMethod::Deflated
        };
        let options = SimpleFileOptions::default()
            .compression_method(method)
            .last_modified_time(zip::DateTime::default())
            .unix_permissions(0o644);
        writer.start_file(name, options).map_err(zipping)?;
        let written = writer.write_all(&bytes);
        written.map_err(|error| Error::caused("archive of a claim", error))?;
    }
    let bytes = writer.finish().map_err(zipping)?.into_inner();
    Ok(Archive {
        sha256: sha256(&bytes),
        content,
        bytes,
    })
}

fn zipping(error: zip::result::ZipError) -> Error {
    Error::caused("archive of a claim", error)
}

/// The archive of a claim for the desk: as it was sent last, or as it is now while it was never sent.
///
/// # Errors
/// `Forbidden`; `NotFound`; `TooMuch`.
pub async fn claim_archive(act: &Act, claim_id: i64) -> Result<Attachment> {
    fetched(act, claim_id, Edition::SentLast).await
}

/// The archive of a claim for the desk as it is now, whatever was sent.
///
/// # Errors
/// `Forbidden`; `NotFound`; `TooMuch`.
pub async fn claim_archive_now(act: &Act, claim_id: i64) -> Result<Attachment> {
    fetched(act, claim_id, Edition::Now).await
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Edition {
    SentLast,
    Now,
}

async fn fetched(act: &Act, claim_id: i64, wanted: Edition) -> Result<Attachment> {
    if !act.is_desk() {
        return Err(Error::Forbidden);
    }
    let tx = act.app.db.snapshot().await?;
    let claim = store::get_claim(&tx, "claimId", claim_id).await?;
    let sent = match wanted {
        Edition::SentLast => store::last_sending(&tx, claim.id).await?,
        Edition::Now => None,
    };
    let archive = match sent {
        Some(sending) => as_sent(&tx, &sending).await?,
        None => of_now(&tx, &Known::of(&tx, claim.clone()).await?, None).await?,
    };
    tx.rollback().await?;
    Ok(file(&claim, archive.bytes))
}

/// The archive as it was sent.
///
/// # Errors
/// Internal, for content that does not read.
pub async fn as_sent(db: &impl ConnectionTrait, row: &claim_sending::Model) -> Result<Archive> {
    let content = serde_json::from_str(&row.archive_json)
        .map_err(|error| Error::caused("content of an archive", error))?;
    made(db, content).await
}

/// The archive as a file.
pub fn file(claim: &claim::Model, bytes: Vec<u8>) -> Attachment {
    Attachment {
        file_name: format!("claim-{}.zip", claim.number),
        content_type: "application/zip".to_owned(),
        bytes,
    }
}
