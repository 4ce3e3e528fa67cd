//! What became of each completed repair, and the counts that rates of return are read from.
//!
//! Words: an *outcome* is a completed repair call with the first later call that counts against it; its *groups* are who
//! did it, what failed, what was fitted; a *cell* counts the repairs of one group, month and component by the age at which
//! they came back. What must stay true: outcomes, groups and cells of a machine follow from its calls alone, so that
//! working all of them out anew gives the same rows; a cell is the sum over its outcomes. Every act that changes what a
//! machine's calls say calls [`refresh`] in its transaction; only that machine is read.

mod labels;
mod recount;
mod store;
mod strata;
mod watched;
mod working;

use std::collections::BTreeMap;

use nameplate_entities::repair_outcome;
use sea_orm::ConnectionTrait;

use crate::base::{Act, Result};

pub use labels::{Labels, labels};
pub use recount::{cells_that_differ, outcomes_that_differ};
pub use strata::{Strata, observed};
pub use watched::{Monthly, Of, Watch, Watched, by_month, watched};

pub use working::model_key;
use working::{Cell, Count, Group};

/// Machines that are worked off in one transaction after an upgrade.
const MACHINES_AT_ONCE: u64 = 50;

/// Works out what became of a machine's repairs, and writes what changed.
///
/// # Errors
/// Internal only.
pub async fn refresh(tx: &impl ConnectionTrait, appliance_id: i64) -> Result<()> {
    refresh_all(tx, &[appliance_id]).await
}

async fn refresh_all(tx: &impl ConnectionTrait, appliance_ids: &[i64]) -> Result<()> {
    let now = worked_out(tx, appliance_ids).await?;
    let before = store::kept(tx, appliance_ids).await?;
    let mut changes: BTreeMap<Cell, Count> = BTreeMap::new();
    for kept in &before {
        if now.iter().any(|outcome| outcome == kept) {
            continue;
        }
        working::add(&mut changes, kept, -1);
        store::forget(tx, kept.row.call_id).await?;
    }
    for outcome in &now {
        if before.contains(outcome) {
            continue;
        }
        working::add(&mut changes, outcome, 1);
        store::keep(tx, outcome).await?;
    }
    changes.retain(|_, count| *count != Count::default());
    store::count(tx, &changes).await
}

/// The outcomes of these machines as their calls give them.
async fn worked_out(db: &impl ConnectionTrait, appliance_ids: &[i64]) -> Result<Vec<Outcome>> {
    let histories = store::histories(db, appliance_ids).await?;
    Ok(histories.iter().flat_map(working::outcomes).collect())
}

/// An outcome with its groups, as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Outcome {
    /// Its id is left at 0: a row is told by its call.
    row: repair_outcome::Model,
    /// Each group once, in order.
    groups: Vec<Group>,
}

/// Works out the outcomes of machines that were repaired before they were kept. Nothing to do the second time.
///
/// # Errors
/// Internal only.
pub async fn open(act: &Act) -> Result<()> {
    loop {
        let tx = act.app.db.write().await?;
        let due = store::due(&tx, MACHINES_AT_ONCE).await?;
        if due.is_empty() {
            return Ok(());
        }
        refresh_all(&tx, &due).await?;
        store::done(&tx, &due).await?;
        tx.commit().await?;
    }
}
