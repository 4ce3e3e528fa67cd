//! What a scenario stands on: databases, the running server, a mail server, and ways to read answers.
//!
//! Nothing in here waits a fixed time for something to happen, and nothing is skipped for want of a tool: what is
//! missing fails the test with a sentence that says how to get it.
#![allow(
    dead_code,
    reason = "the helpers are written for scenarios to come as well as for those already here"
)]

pub mod database;
pub mod graphql;
pub mod house;
pub mod mail;
pub mod papers;
pub mod program;
pub mod repairs;
pub mod server;
pub mod shop;
pub mod smtp;
pub mod taxes;
pub mod wait;
pub mod warranty;

/// Makes each scenario two tests, `NAME::sqlite` and `NAME::postgres`, each on a fresh, migrated database of its own.
///
/// ```ignore
/// on_both_databases! {
///     async fn a_scenario_in_a_sentence(db: TestDatabase) {
///         let server = Server::start(&db, ServerOptions::default()).await;
///     }
/// }
/// ```
macro_rules! on_both_databases {
    ($($(#[$attribute:meta])* async fn $name:ident($db:ident: $database:ty) $body:block)+) => {$(
        mod $name {
            #[allow(unused_imports, reason = "a scenario may need nothing of the file around it")]
            use super::*;

            $(#[$attribute])*
            async fn scenario($db: $database) $body

            #[tokio::test]
            async fn sqlite() {
                scenario($crate::support::database::TestDatabase::sqlite().await).await;
            }

            #[tokio::test]
            async fn postgres() {
                scenario($crate::support::database::TestDatabase::postgres().await).await;
            }
        }
    )+};
}
pub(crate) use on_both_databases;
