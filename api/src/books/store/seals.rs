//! The hashes that chain the journal.

use nameplate_entities::{journal_entry, journal_seal, posting};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter,
    QueryOrder, QuerySelect,
};

use crate::base::Result;

/// The hash of the last entry before this one; empty for the first.
pub async fn hash_before(db: &impl ConnectionTrait, entry_id: i64) -> Result<String> {
    let row = journal_seal::Entity::find()
        .filter(journal_seal::Column::EntryId.lt(entry_id))
        .order_by_desc(journal_seal::Column::EntryId)
        .limit(1)
        .one(db)
        .await?;
    Ok(row.map_or_else(String::new, |row| row.hash))
}

/// Keeps the hash of an entry just written.
pub async fn keep(tx: &impl ConnectionTrait, entry_id: i64, hash: String) -> Result<()> {
    let row = journal_seal::ActiveModel {
        entry_id: Set(entry_id),
        hash: Set(hash),
    };
    journal_seal::Entity::insert(row)
        .exec_without_returning(tx)
        .await?;
    Ok(())
}

/// Fills in the hash of an entry that is older than the chain.
pub async fn fill(tx: &impl ConnectionTrait, entry_id: i64, hash: String) -> Result<()> {
    journal_seal::ActiveModel {
        entry_id: Set(entry_id),
        hash: Set(hash),
    }
    .update(tx)
    .await?;
    Ok(())
}

/// Entries after this one that have no hash yet, oldest first; at most `count`.
pub async fn unsealed(
    db: &impl ConnectionTrait,
    after: i64,
    count: u64,
) -> Result<Vec<journal_entry::Model>> {
    let due = journal_seal::Entity::find()
        .filter(journal_seal::Column::Hash.eq(""))
        .filter(journal_seal::Column::EntryId.gt(after))
        .order_by_asc(journal_seal::Column::EntryId)
        .limit(count)
        .all(db)
        .await?;
    Ok(journal_entry::Entity::find()
        .filter(journal_entry::Column::Id.is_in(due.iter().map(|row| row.entry_id)))
        .order_by_asc(journal_entry::Column::Id)
        .all(db)
        .await?)
}

/// The postings of these entries, entry by entry and in order.
pub async fn postings_of_all(
    db: &impl ConnectionTrait,
    entries: &[journal_entry::Model],
) -> Result<Vec<posting::Model>> {
    Ok(posting::Entity::find()
        .filter(posting::Column::EntryId.is_in(entries.iter().map(|row| row.id)))
        .order_by_asc(posting::Column::EntryId)
        .order_by_asc(posting::Column::Position)
        .all(db)
        .await?)
}
