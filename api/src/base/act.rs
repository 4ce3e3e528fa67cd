//! Who asks, when, and with what: the first argument of every operation.

use std::sync::Arc;

use chrono::{DateTime, Utc};
use tokio::sync::{Notify, watch};

use super::access::{Right, Role};
use super::clock::Clock;
use super::config::Config;
use super::db::Db;
use super::error::{Error, Result};
use super::throttle::Throttle;

/// What one running server shares.
pub struct App {
    pub db: Db,
    pub config: Config,
    pub clock: Clock,
    /// Rung after a commit that queued mail, so that it leaves at once.
    pub mail_bell: Notify,
    /// Rung after a commit that raised a flag, made one louder or opened one again, so that whoever listens looks.
    pub flag_bell: watch::Sender<()>,
    pub throttle: Throttle,
}

impl App {
    /// A server's shared things around an open database.
    pub fn new(db: Db, config: Config, clock: Clock) -> Arc<Self> {
        Arc::new(Self {
            db,
            config,
            clock,
            mail_bell: Notify::new(),
            flag_bell: watch::Sender::new(()),
            throttle: Throttle::default(),
        })
    }

    /// An act of `caller`, now.
    pub fn act(self: &Arc<Self>, caller: Caller) -> Act {
        Act {
            app: Arc::clone(self),
            caller,
            at: self.clock.now(),
            from: None,
        }
    }
}

/// Who asks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Caller {
    /// Nobody signed in.
    Nobody,
    /// A member of staff.
    Staff {
        id: i64,
        role: Role,
        session_id: i64,
    },
    /// A customer who came by an estimate's link.
    CustomerLink,
    /// The program itself: start-up, timers, the command line.
    Program,
}

/// One act of one caller at one time.
#[derive(Clone)]
pub struct Act {
    pub app: Arc<App>,
    pub caller: Caller,
    pub at: DateTime<Utc>,
    /// Network address the request came from.
    pub from: Option<String>,
}

impl Act {
    /// Who on the staff does this, if the role may.
    ///
    /// # Errors
    /// `Unauthenticated` for nobody, `Forbidden` for a role without the right.
    pub fn staff_with(&self, right: Right) -> Result<i64> {
        match &self.caller {
            Caller::Staff { id, role, .. } if right.is_held_by(*role) => Ok(*id),
            Caller::Staff { .. } | Caller::CustomerLink => Err(Error::Forbidden),
            Caller::Program => Err(Error::internal("the program has no hands of its own")),
            Caller::Nobody => Err(Error::Unauthenticated),
        }
    }

    /// The signed-in member of staff and the role.
    ///
    /// # Errors
    /// `Unauthenticated` for anybody else.
    pub fn staff(&self) -> Result<(i64, Role)> {
        match &self.caller {
            Caller::Staff { id, role, .. } => Ok((*id, *role)),
            _ => Err(Error::Unauthenticated),
        }
    }

    /// Whether the caller sits at the desk: owner or office. Money documents are theirs alone.
    pub fn is_desk(&self) -> bool {
        matches!(
            self.caller,
            Caller::Staff {
                role: Role::Owner | Role::Office,
                ..
            }
        )
    }

    /// The id of the acting member of staff, if it is one.
    pub fn staff_id(&self) -> Option<i64> {
        match &self.caller {
            Caller::Staff { id, .. } => Some(*id),
            _ => None,
        }
    }

    /// The actor as the audit log and idempotency keys name it.
    pub fn actor(&self) -> String {
        match &self.caller {
            Caller::Nobody => "nobody".to_owned(),
            Caller::Staff { id, .. } => format!("staff {id}"),
            Caller::CustomerLink => "customer link".to_owned(),
            Caller::Program => "program".to_owned(),
        }
    }
}
