//! How many live connections there are, in all and of one session.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Connections in all, begun or not.
const PLACES: usize = 256;
/// Connections of one session: as many windows of one device.
const OF_SESSION_MAX: usize = 4;

/// Counts live connections.
pub struct Seats {
    places: Arc<Semaphore>,
    by_session: Arc<Mutex<HashMap<i64, usize>>>,
}

impl Default for Seats {
    fn default() -> Self {
        Self {
            places: Arc::new(Semaphore::new(PLACES)),
            by_session: Arc::default(),
        }
    }
}

impl Seats {
    /// Room for one more connection, until it is dropped; none when all is taken.
    pub fn place(&self) -> Option<OwnedSemaphorePermit> {
        Arc::clone(&self.places).try_acquire_owned().ok()
    }

    /// Room for one more connection of this session, until it is dropped; none when it has enough.
    pub fn of_session(&self, session_id: i64) -> Option<Seat> {
        let mut by_session = locked(&self.by_session);
        let taken = by_session.entry(session_id).or_default();
        if *taken >= OF_SESSION_MAX {
            return None;
        }
        *taken += 1;
        Some(Seat {
            by_session: Arc::clone(&self.by_session),
            session_id,
        })
    }
}

/// One connection of a session.
pub struct Seat {
    by_session: Arc<Mutex<HashMap<i64, usize>>>,
    session_id: i64,
}

impl Drop for Seat {
    fn drop(&mut self) {
        let mut by_session = locked(&self.by_session);
        if let Some(taken) = by_session.get_mut(&self.session_id) {
            *taken = taken.saturating_sub(1);
            if *taken == 0 {
                by_session.remove(&self.session_id);
            }
        }
    }
}

fn locked(by_session: &Mutex<HashMap<i64, usize>>) -> MutexGuard<'_, HashMap<i64, usize>> {
    by_session.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_session_has_four_seats_and_gets_one_back_when_it_is_left() {
        let seats = Seats::default();
        let mut taken: Vec<Seat> = (0..4).filter_map(|_| seats.of_session(7)).collect();
        assert_eq!(taken.len(), 4);
        assert!(seats.of_session(7).is_none());
        assert!(seats.of_session(8).is_some());
        taken.pop();
        assert!(seats.of_session(7).is_some());
        drop(taken);
        assert!(locked(&seats.by_session).is_empty());
    }
}
