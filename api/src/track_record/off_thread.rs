//! Statistics and drawing beside the threads that answer requests, as they take a while.

use crate::base::{Error, Result};

/// Does the work on a thread kept for such.
///
/// # Errors
/// Internal, when the work panics.
pub async fn off_thread<T: Send + 'static>(
    what: &'static str,
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T> {
    let done = tokio::task::spawn_blocking(work).await;
    done.map_err(|error| Error::caused(what, error))
}
