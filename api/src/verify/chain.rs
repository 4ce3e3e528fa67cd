//! Every journal entry fits the chain of hashes: nothing in it was changed, and none was taken out, put in or moved.

use std::collections::HashMap;

use nameplate_entities::{journal_entry, journal_seal, posting};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use crate::base::Result;
use crate::books::{chain_hash, link_posting};

use super::Finding;

/// Entries looked at together.
const PAGE: u64 = 500;

/// The first entry that does not fit. Those after it are not looked at: they may be sound and not fit all the same.
pub async fn check(tx: &impl ConnectionTrait) -> Result<Vec<Finding>> {
    let mut last: Option<journal_seal::Model> = None;
    loop {
        let after = last.as_ref().map_or(0, |seal| seal.entry_id);
        let entries = journal_entry::Entity::find()
            .filter(journal_entry::Column::Id.gt(after))
            .order_by_asc(journal_entry::Column::Id)
            .limit(PAGE)
            .all(tx)
            .await?;
        if entries.is_empty() {
            return Ok(Vec::new());
        }
        let page = Page::read(tx, &entries).await?;
        for entry in &entries {
            let hash_before = last.as_ref().map_or("", |seal| seal.hash.as_str());
            match page.fault(entry, hash_before)? {
                None => last = page.seals.get(&entry.id).cloned(),
                Some(what) => return Ok(vec![finding(entry, what)]),
            }
        }
    }
}

fn finding(entry: &journal_entry::Model, what: &str) -> Finding {
    Finding {
        table: "journal_entry",
        row: entry.id.to_string(),
        what: format!("{} {what}", entry.number),
    }
}

/// Seals and postings of some entries.
struct Page {
    seals: HashMap<i64, journal_seal::Model>,
    postings: HashMap<i64, Vec<posting::Model>>,
}

impl Page {
    async fn read(tx: &impl ConnectionTrait, entries: &[journal_entry::Model]) -> Result<Self> {
        let ids = || entries.iter().map(|entry| entry.id);
        let seals = journal_seal::Entity::find()
            .filter(journal_seal::Column::EntryId.is_in(ids()))
            .all(tx)
            .await?;
        let rows = posting::Entity::find()
            .filter(posting::Column::EntryId.is_in(ids()))
            .order_by_asc(posting::Column::EntryId)
            .order_by_asc(posting::Column::Position)
            .all(tx)
            .await?;
        let mut postings: HashMap<i64, Vec<posting::Model>> = HashMap::new();
        for row in rows {
            postings.entry(row.entry_id).or_default().push(row);
        }
        Ok(Self {
            seals: seals
                .into_iter()
                .map(|seal| (seal.entry_id, seal))
                .collect(),
            postings,
        })
    }

    fn fault(
        &self,
        entry: &journal_entry::Model,
        hash_before: &str,
    ) -> Result<Option<&'static str>> {
        let Some(seal) = self
            .seals
            .get(&entry.id)
            .filter(|seal| !seal.hash.is_empty())
        else {
            return Ok(Some("has no hash, so nothing shows whether it was changed"));
        };
        let postings = self
            .postings
            .get(&entry.id)
            .map(Vec::as_slice)
            .unwrap_or_default();
        let links = postings.iter().map(link_posting).collect();
        let fits = chain_hash(hash_before, entry, links)? == seal.hash;
        Ok((!fits).then_some(
            "does not fit its hash: it or the one before it was changed, taken out, put in or moved",
        ))
    }
}
