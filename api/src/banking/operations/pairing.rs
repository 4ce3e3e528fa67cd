//! Entries and their reversals, paired by themselves: they cancel out, and no line of the bank will ever come for them.

use nameplate_entities::account;
use sea_orm::ConnectionTrait;

use super::super::store::matches;
use super::matching::NewMatch;
use crate::base::{Act, Result, Right};

/// Most pairs of one act; what is left over is paired by the next.
const PAIRS_MAX: u64 = 200;

/// Pairs the postings of this account whose entry is reversed with those of the reversal, where nothing is matched to any
/// of them.
///
/// # Errors
/// Internal only.
pub async fn pair_reversals(
    tx: &impl ConnectionTrait,
    act: &Act,
    (staff_id, right): (i64, Right),
    account: &account::Model,
) -> Result<()> {
    for pair in matches::reversed(tx, account.id, PAIRS_MAX).await? {
        let both = matches::of_entries(tx, account.id, [pair.entry_id, pair.reversal_id]).await?;
        let is_free = both.iter().all(|posting| posting.match_id.is_none());
        let left: i64 = both.iter().map(|posting| posting.amount_cents).sum();
        if !is_free || left != 0 {
            continue;
        }
        let new = NewMatch {
            account_id: account.id,
            staff_id,
            reason: format!("{} undoes {}", pair.reversal, pair.entry),
            line_ids: Vec::new(),
            posting_ids: both.iter().map(|posting| posting.id).collect(),
        };
        new.write(tx, act, right).await?;
    }
    Ok(())
}
