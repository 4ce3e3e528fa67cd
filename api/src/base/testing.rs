//! A program on a fresh database, for tests beside the code: a `SQLite` file, and `PostgreSQL` too when
//! `tests/run` has started one.

#![expect(clippy::missing_panics_doc, reason = "a test that panics has failed")]

mod template;

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use chrono::{DateTime, Utc};
use nameplate_entities::staff;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ConnectOptions, ConnectionTrait, Database,
    DatabaseConnection,
};
use tempfile::TempDir;

use super::act::{Act, App, Caller};
use super::clock::Clock;
use super::config::Config;
use super::db::Db;
use super::{Error, Problem, Role};

/// An app whose clock stands still, on a database that goes with it.
pub struct Bench {
    pub app: Arc<App>,
    _folder: Option<TempDir>,
    _database: Option<OnServer>,
}

static MADE: AtomicU32 = AtomicU32::new(0);

/// Noon of a day in 2026 at which every test begins.
pub fn noon() -> DateTime<Utc> {
    DateTime::from_timestamp(1_780_315_200, 0).unwrap()
}

impl Bench {
    /// An empty, migrated `SQLite` file.
    pub async fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("shop.db");
        template::copy_sqlite(&path).await;
        let url = format!("sqlite://{}?mode=rwc", path.display());
        Self {
            _folder: Some(folder),
            ..Self::at(&url).await
        }
    }

    /// One on each database there is to test on.
    pub async fn everywhere() -> Vec<Self> {
        let mut benches = vec![Self::new().await];
        if let Ok(admin_url) = std::env::var("NAMEPLATE_TEST_PG") {
            let number = MADE.fetch_add(1, Ordering::Relaxed);
            let name = format!("nameplate_bench_{}_{number}", std::process::id());
            let (server, _) = admin_url.rsplit_once('/').unwrap();
            let admin = connect(&admin_url).await;
            template::copy_postgres(&admin, server, &name).await;
            admin.close().await.unwrap();
            let bench = Self::at(&format!("{server}/{name}")).await;
            benches.push(Self {
                _database: Some(OnServer { admin_url, name }),
                ..bench
            });
        }
        benches
    }

    async fn at(url: &str) -> Self {
        let db = Db::open(url).await.unwrap();
        Self {
            app: App::new(db, Config::default(), Clock::standing_at(noon())),
            _folder: None,
            _database: None,
        }
    }

    /// An act of somebody new with this role.
    pub async fn act_as(&self, role: Role) -> Act {
        let tx = self.app.db.write().await.unwrap();
        let row = staff::ActiveModel {
            name: Set("Somebody".to_owned()),
            email: Set(format!("{role:?}@shop.example")),
            role: Set(role),
            password_hash: Set("none".to_owned()),
            created_at: Set(self.app.clock.now()),
            version: Set(1),
            ..Default::default()
        }
        .insert(&tx)
        .await
        .unwrap();
        tx.commit().await.unwrap();
        self.app.act(Caller::Staff {
            id: row.id,
            role,
            session_id: 1,
        })
    }

    /// An act of the program.
    pub fn program(&self) -> Act {
        self.app.act(Caller::Program)
    }
}

/// A database that goes with its bench: those of a whole run would fill a disk.
struct OnServer {
    admin_url: String,
    name: String,
}

impl Drop for OnServer {
    fn drop(&mut self) {
        let (admin_url, name) = (self.admin_url.clone(), self.name.clone());
        // Dropping is not asynchronous and happens inside a runtime, so the clean-up has a thread and runtime of its own.
        let cleaning = std::thread::spawn(move || {
            tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build()
                .unwrap()
                .block_on(drop_database(&admin_url, &name));
        });
        if cleaning.join().is_err() {
            eprintln!("removing a test's database failed, see above");
        }
    }
}

async fn drop_database(admin_url: &str, name: &str) {
    let admin = connect(admin_url).await;
    // FORCE ends sessions too, but then looks only each 100 ms whether they are gone.
    let end =
        format!("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'");
    admin.execute_unprepared(&end).await.unwrap();
    tokio::time::sleep(Duration::from_millis(5)).await;
    let drop = format!("DROP DATABASE {name} WITH (FORCE)");
    admin.execute_unprepared(&drop).await.unwrap();
    admin.close().await.unwrap();
}

async fn connect(url: &str) -> DatabaseConnection {
    let mut options = ConnectOptions::new(url);
    options.max_connections(1).sqlx_logging(false);
    Database::connect(options).await.unwrap()
}

/// What was refused.
#[track_caller]
pub fn problems<T>(outcome: super::Result<T>) -> Vec<Problem> {
    match outcome {
        Err(Error::Refused(problems)) => problems,
        Err(other) => panic!("not refused but failed: {other}"),
        Ok(_) => panic!("this was done, not refused"),
    }
}

/// Code and path of each refusal.
#[track_caller]
pub fn refusals<T>(outcome: super::Result<T>) -> Vec<(super::ProblemCode, String)> {
    problems(outcome)
        .into_iter()
        .map(|problem| (problem.code, problem.path))
        .collect()
}
