//! How many live connections there are: of those that did not say who they are yet, and of those that did.
//!
//! What must stay true: who waits takes no seat, and no network address holds more than a few of the places to wait in, so
//! that nobody without a token keeps the staff out.

use std::collections::HashMap;
use std::hash::Hash;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Connections that wait, in all.
const WAITING_MAX: usize = 256;
/// Connections that wait, of one network address: a shop's devices behind one router, as they connect again.
const OF_ADDRESS_MAX: usize = 8;
/// Connections that have begun, in all.
const SEATS: usize = 256;
/// Connections of one session: as many windows of one device.
const OF_SESSION_MAX: usize = 4;

/// Counts live connections.
pub struct Seats {
    waiting: Arc<Semaphore>,
    by_address: Counts<String>,
    begun: Arc<Semaphore>,
    by_session: Counts<i64>,
}

/// A connection that has not said who it is, until it is dropped.
pub struct Waiting {
    _place: OwnedSemaphorePermit,
    _of_address: Share<String>,
}

/// A connection of a session, until it is dropped.
pub struct Seat {
    _place: OwnedSemaphorePermit,
    _of_session: Share<i64>,
}

impl Default for Seats {
    fn default() -> Self {
        Self {
            waiting: Arc::new(Semaphore::new(WAITING_MAX)),
            by_address: Arc::default(),
            begun: Arc::new(Semaphore::new(SEATS)),
            by_session: Arc::default(),
        }
    }
}

impl Seats {
    /// Room for one more connection that waits; none when its address has enough, or all is taken.
    pub fn wait(&self, address: Option<&str>) -> Option<Waiting> {
        let network = network(address.unwrap_or_default());
        Some(Waiting {
            _of_address: Share::of(&self.by_address, network, OF_ADDRESS_MAX)?,
            _place: Arc::clone(&self.waiting).try_acquire_owned().ok()?,
        })
    }

    /// Room for one more connection of this session; none when it has enough, or all is taken.
    pub fn of_session(&self, session_id: i64) -> Option<Seat> {
        Some(Seat {
            _of_session: Share::of(&self.by_session, session_id, OF_SESSION_MAX)?,
            _place: Arc::clone(&self.begun).try_acquire_owned().ok()?,
        })
    }
}

/// What one client holds: an address of IPv4, or the first half of one of IPv6, which names its network.
fn network(address: &str) -> String {
    match address.parse::<IpAddr>().map(|ip| ip.to_canonical()) {
        Ok(IpAddr::V6(ip)) => format!("{:x}", ip.to_bits() >> 64),
        Ok(IpAddr::V4(ip)) => ip.to_string(),
        Err(_) => address.to_owned(),
    }
}

/// How many places each has taken.
type Counts<K> = Arc<Mutex<HashMap<K, usize>>>;

/// One place that somebody has taken, until it is dropped.
struct Share<K: Eq + Hash> {
    counts: Counts<K>,
    of: K,
}

impl<K: Clone + Eq + Hash> Share<K> {
    /// One more; none when so many are taken.
    fn of(counts: &Counts<K>, of: K, most: usize) -> Option<Self> {
        let mut taken = locked(counts);
        let count = taken.entry(of.clone()).or_default();
        if *count >= most {
            return None;
        }
        *count += 1;
        Some(Self {
            counts: Arc::clone(counts),
            of,
        })
    }
}

impl<K: Eq + Hash> Drop for Share<K> {
    fn drop(&mut self) {
        let mut taken = locked(&self.counts);
        if let Some(count) = taken.get_mut(&self.of) {
            *count = count.saturating_sub(1);
            if *count == 0 {
                taken.remove(&self.of);
            }
        }
    }
}

fn locked<K>(counts: &Counts<K>) -> MutexGuard<'_, HashMap<K, usize>> {
    counts.lock().unwrap_or_else(PoisonError::into_inner)
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

    #[test]
    fn who_says_nothing_holds_eight_places_of_an_address_and_no_seat() {
        let seats = Seats::default();
        let wait = |address| seats.wait(Some(address));
        let waiting: Vec<Waiting> = (0..9).filter_map(|_| wait("203.0.113.7")).collect();
        assert_eq!(waiting.len(), 8);
        assert!(wait("::ffff:203.0.113.7").is_none(), "the same address");
        assert!(wait("203.0.113.8").is_some());
        let sessions = (1..=64).flat_map(|session_id| [session_id; 4]);
        let begun: Vec<Seat> = sessions.filter_map(|id| seats.of_session(id)).collect();
        assert_eq!(begun.len(), 256);
        assert!(seats.of_session(65).is_none());
        drop(waiting);
        assert!(locked(&seats.by_address).is_empty());
        assert!(wait("203.0.113.7").is_some());
    }

    #[test]
    fn the_addresses_of_one_network_of_ipv6_are_counted_together() {
        let seats = Seats::default();
        let addresses = (0..9).map(|number| format!("2001:db8:0:1::{number}"));
        let waiting: Vec<Waiting> = addresses
            .filter_map(|address| seats.wait(Some(&address)))
            .collect();
        assert_eq!(waiting.len(), 8);
        assert!(seats.wait(Some("2001:db8:0:2::1")).is_some());
        assert!(seats.wait(None).is_some());
    }
}
