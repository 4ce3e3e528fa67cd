//! The chain of hashes through the journal: each entry keeps the hash of its content and of the hash before it.
//!
//! What must stay true: every entry is sealed in the transaction that posts it, and a seal is never changed. A database
//! older than the chain has empty seals; they are filled once, when the program opens, oldest first and in transactions
//! of their own, so that others may post in between: an entry posted meanwhile is sealed over an empty hash only if the
//! one before it is, which [`catch_up`] excludes by running before anybody is served.

use nameplate_entities::{journal_entry, posting};
use nameplate_rules::books::chain::{self as rules, Link, LinkPosting};
use sea_orm::ConnectionTrait;

use crate::base::{Act, Error, Result, digest};

use super::store::seals;

/// Entries hashed in one transaction.
const BATCH: u64 = 500;

/// The hash of an entry, given the one before it.
///
/// # Errors
/// Internal only.
pub fn hash(
    hash_before: &str,
    entry: &journal_entry::Model,
    postings: Vec<LinkPosting>,
) -> Result<String> {
    let link = Link {
        number: &entry.number,
        on: entry.entry_on,
        memo: &entry.memo,
        document: (&entry.document_kind, entry.document_id),
        reverses: entry.reverses_entry_id,
        closes_year: entry.closes_year,
        posted_by: entry.posted_by,
        posted_at: entry.posted_at,
        postings,
    };
    let text = rules::canonical(hash_before, &link)
        .map_err(|error| Error::caused("text of a journal entry", error))?;
    Ok(digest::sha256(text.as_bytes()))
}

/// A posting as it is chained.
pub fn link_posting(row: &posting::Model) -> LinkPosting {
    LinkPosting {
        account: row.account_id,
        debit_cents: row.debit_cents,
        credit_cents: row.credit_cents,
        tax_level: row.tax_level_id,
    }
}

/// Seals an entry just written. One statement to read and one to write.
pub async fn seal(
    tx: &impl ConnectionTrait,
    entry: &journal_entry::Model,
    postings: Vec<LinkPosting>,
) -> Result<()> {
    let before = seals::hash_before(tx, entry.id).await?;
    seals::keep(tx, entry.id, hash(&before, entry, postings)?).await
}

/// Seals what a version without the chain left. Does nothing later.
pub async fn catch_up(act: &Act) -> Result<()> {
    let mut after = 0;
    loop {
        let tx = act.app.db.write().await?;
        let entries = seals::unsealed(&tx, after, BATCH).await?;
        let Some(first) = entries.first() else {
            return Ok(());
        };
        let mut before = seals::hash_before(&tx, first.id).await?;
        let postings = seals::postings_of_all(&tx, &entries).await?;
        for entry in &entries {
            let own = postings.iter().filter(|row| row.entry_id == entry.id);
            before = hash(&before, entry, own.map(link_posting).collect())?;
            seals::fill(&tx, entry.id, before.clone()).await?;
            after = entry.id;
        }
        tx.commit().await?;
    }
}
