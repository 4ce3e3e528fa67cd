//! Waiting with a deadline, by looking again and again.

use std::time::{Duration, Instant};

/// How long a scenario waits for something that should take a moment, on a machine that is busy building.
pub const PATIENCE: Duration = Duration::from_secs(20);

const PAUSE: Duration = Duration::from_millis(20);

/// Looks until there is something to see, and returns it.
///
/// # Panics
/// When `limit` has passed; the message says what was waited for.
#[track_caller]
pub fn eventually<T>(
    what: &str,
    limit: Duration,
    mut look: impl AsyncFnMut() -> Option<T>,
) -> impl Future<Output = T> {
    let caller = std::panic::Location::caller();
    async move {
        let started = Instant::now();
        loop {
            if let Some(seen) = look().await {
                return seen;
            }
            assert!(
                started.elapsed() < limit,
                "{caller}: waited {limit:?} in vain for {what}"
            );
            tokio::time::sleep(PAUSE).await;
        }
    }
}

/// Looks for the whole of `span` and insists that `look` stays true: the only way to show that nothing more comes.
///
/// # Panics
/// At the first look that is false.
#[track_caller]
pub fn holds_for(
    what: &str,
    span: Duration,
    mut look: impl AsyncFnMut() -> bool,
) -> impl Future<Output = ()> {
    let caller = std::panic::Location::caller();
    async move {
        let started = Instant::now();
        while started.elapsed() < span {
            assert!(
                look().await,
                "{caller}: after {:?} this no longer held: {what}",
                started.elapsed()
            );
            tokio::time::sleep(PAUSE).await;
        }
    }
}
