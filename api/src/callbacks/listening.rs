//! Listening for flags: each that is raised, made louder or opened again is told once, after its commit.
//!
//! The bell says only that there is something to look for; what it is says the database. So nothing is told that was rolled
//! back, nothing is lost while a slow listener is busy, and flags that another server raised are found a little later.

use std::collections::{HashMap, VecDeque};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use nameplate_entities::flag;
use sea_orm::{ColumnTrait, QueryFilter, QueryOrder, QuerySelect};
use tokio::sync::watch;

use crate::base::{Act, Result};

use super::store;

/// How long a flag may take from the time it bears to its commit; a request is stopped well before.
const LATE_MAX: TimeDelta = TimeDelta::minutes(1);
/// How often to look without being rung for: another server on this database has a bell of its own.
const LOOK_EVERY: Duration = Duration::from_secs(15);

/// Somebody who listens, and what they were told.
pub struct Listener {
    act: Act,
    bell: watch::Receiver<()>,
    /// Flags that were there at the start, or that were seen since, and when they were raised.
    seen: HashMap<i64, DateTime<Utc>>,
    /// When the database was last read.
    read_at: DateTime<Utc>,
    /// What is still to be told, in order.
    to_tell: VecDeque<i64>,
}

impl Listener {
    /// Listens from now on, as the member of staff who acts.
    ///
    /// # Errors
    /// Internal only.
    pub async fn begin(act: Act) -> Result<Self> {
        let mut listener = Self {
            bell: act.app.flag_bell.subscribe(),
            seen: HashMap::new(),
            read_at: act.app.clock.now(),
            to_tell: VecDeque::new(),
            act,
        };
        listener.look().await?;
        listener.to_tell.clear();
        Ok(listener)
    }

    /// The next flag, as it is when it is told, if this member of staff may see it then.
    pub async fn next(&mut self) -> flag::Model {
        loop {
            match self.told().await {
                Ok(Some(row)) => return row,
                Ok(None) => self.woken().await,
                // What could not be read stays to be told.
                Err(error) => {
                    tracing::warn!(%error, "flags could not be looked for");
                    tokio::time::sleep(LOOK_EVERY).await;
                }
            }
            if let Err(error) = self.look().await {
                tracing::warn!(%error, "flags could not be looked for");
            }
        }
    }

    async fn woken(&mut self) {
        tokio::select! {
            // The bell is there as long as the app.
            _ = self.bell.changed() => {}
            () = tokio::time::sleep(LOOK_EVERY) => {}
        }
    }

    /// Finds what was raised since the last look, and a little before it for what was committed late.
    async fn look(&mut self) -> Result<()> {
        let (now, since) = (self.act.app.clock.now(), self.read_at - LATE_MAX);
        let raised: Vec<(i64, DateTime<Utc>)> = store::flags_visible_to(&self.act)
            .select_only()
            .columns([flag::Column::Id, flag::Column::RaisedAt])
            .filter(flag::Column::RaisedAt.gte(since))
            .order_by_asc(flag::Column::RaisedAt)
            .order_by_asc(flag::Column::Id)
            .into_tuple()
            .all(self.act.app.db.read())
            .await?;
        for (id, raised_at) in raised {
            if self.seen.insert(id, raised_at) != Some(raised_at) && !self.to_tell.contains(&id) {
                self.to_tell.push_back(id);
            }
        }
        self.seen.retain(|_, raised_at| *raised_at >= since);
        self.read_at = now;
        Ok(())
    }

    /// The first of what is to be told that may be seen now.
    async fn told(&mut self) -> Result<Option<flag::Model>> {
        while let Some(id) = self.to_tell.front().copied() {
            let row = store::flags_visible_to(&self.act)
                .filter(flag::Column::Id.eq(id))
                .one(self.act.app.db.read())
                .await?;
            self.to_tell.pop_front();
            if row.is_some() {
                return Ok(row);
            }
        }
        Ok(None)
    }
}
