//! The only place that asks what time it is.

use std::sync::{Arc, Mutex, PoisonError};

use chrono::{DateTime, SubsecRound, TimeDelta, Utc};

/// Where the present comes from: the machine, or a hand that tests and the demo turn.
#[derive(Clone, Default)]
pub enum Clock {
    #[default]
    System,
    Given(Arc<Mutex<DateTime<Utc>>>),
}

impl Clock {
    /// A clock that stands still until it is set.
    pub fn standing_at(at: DateTime<Utc>) -> Self {
        Self::Given(Arc::new(Mutex::new(at)))
    }

    /// Now, to the microsecond: what both databases keep.
    pub fn now(&self) -> DateTime<Utc> {
        match self {
            #[expect(clippy::disallowed_methods, reason = "the one place that asks")]
            Self::System => Utc::now().trunc_subsecs(6),
            Self::Given(at) => at
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .trunc_subsecs(6),
        }
    }

    /// Turns a given clock; the machine's cannot be turned.
    pub fn set(&self, to: DateTime<Utc>) {
        if let Self::Given(at) = self {
            *at.lock().unwrap_or_else(PoisonError::into_inner) = to;
        }
    }

    /// Moves a given clock on.
    pub fn advance(&self, by: TimeDelta) {
        self.set(self.now() + by);
    }
}
