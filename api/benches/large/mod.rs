//! A shop with more on record than a test would wait for: opened empty, for a bench to fill and ask.

use std::error::Error;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Instant;

use nameplate::base::clock::Clock;
use nameplate::base::config::Config;
use nameplate::base::db::Db;
use nameplate::base::{Act, App, Caller, Role};
use nameplate::{cli, shop};

pub type Outcome<T> = Result<T, Box<dyn Error>>;

/// Runs a bench on the database named by `NAMEPLATE_BENCH_DB` (a fresh one), or on a new `SQLite` file.
pub async fn measure(bench: impl AsyncFnOnce(Arc<App>) -> Outcome<()>) -> ExitCode {
    // A test runner that lists or tries benches says nothing of the kind, and a million rows are not for it.
    if !std::env::args().any(|argument| argument == "--bench") {
        return ExitCode::SUCCESS;
    }
    match opened_and_measured(bench).await {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

async fn opened_and_measured(bench: impl AsyncFnOnce(Arc<App>) -> Outcome<()>) -> Outcome<()> {
    let folder = tempfile::tempdir()?;
    let file = format!(
        "sqlite://{}?mode=rwc",
        folder.path().join("shop.db").display()
    );
    let url = std::env::var("NAMEPLATE_BENCH_DB").unwrap_or(file);
    let app = App::new(Db::open(&url).await?, Config::default(), Clock::System);
    cli::prepare(&app).await?;
    bench(app).await
}

/// The act of the shop's only person.
pub async fn owner(app: &Arc<App>) -> Outcome<Act> {
    let new = shop::AddStaff {
        name: "Owner".to_owned(),
        email: "owner@shop.example".to_owned(),
        role: Role::Owner,
        password: "a long enough password".to_owned(),
    };
    let row = shop::add_staff(&app.act(Caller::Program), new).await?;
    Ok(app.act(Caller::Staff {
        id: row.id,
        role: Role::Owner,
        session_id: 1,
    }))
}

/// Milliseconds since then.
pub fn millis(at: Instant) -> f64 {
    at.elapsed().as_secs_f64() * 1_000.0
}
