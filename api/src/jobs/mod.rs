//! Work that runs beside requests: mail that waits to leave, and the round that is made every hour.
//!
//! What stays true: a mail that was asked for is sent or reported as failed, never lost; a worker that is
//! killed leaves its mail to the next one. Several servers on one database share the work.

mod backoff;
#[cfg(test)]
mod digest_tests;
pub mod graphql;
mod letters;
mod outbox;
mod rounds;
#[cfg(test)]
mod summary_tests;

pub use outbox::send_next;

use std::sync::Arc;
use std::time::Duration;

use tokio::sync::watch;

use crate::base::{App, Caller};
use crate::graphql::error::chain;
use crate::mail::Transport;

/// How long the worker rests after a fault of the database.
const REST: Duration = Duration::from_secs(5);

/// Sends mail and makes rounds until `stop` says true; a mail on its way is finished first.
pub async fn run(app: Arc<App>, transport: Transport, mut stop: watch::Receiver<bool>) {
    let poll = Duration::from_millis(app.config.mail.poll_ms.max(10));
    let mut rounds = tokio::time::interval(rounds::EVERY);
    while !*stop.borrow() {
        let act = app.act(Caller::Program);
        let pause = match outbox::send_next(&act, &transport).await {
            Ok(true) => Duration::ZERO,
            Ok(false) => poll,
            Err(error) => {
                tracing::error!(chain = %chain(&error), "the mail worker rests after a fault");
                REST
            }
        };
        if pause.is_zero() {
            continue;
        }
        tokio::select! {
            _ = stop.changed() => {}
            () = app.mail_bell.notified() => {}
            () = tokio::time::sleep(pause) => {}
            _ = rounds.tick() => rounds::make(&app.act(Caller::Program)).await,
        }
    }
}
