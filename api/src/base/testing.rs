//! A program on a fresh database, for tests beside the code: a `SQLite` file, and `PostgreSQL` too when
//! `tests/run` has started one.

#![expect(clippy::missing_panics_doc, reason = "a test that panics has failed")]

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

use chrono::{DateTime, Utc};
use nameplate_entities::staff;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, Database};
use tempfile::TempDir;

use super::act::{Act, App, Caller};
use super::clock::Clock;
use super::config::Config;
use super::db::Db;
use super::{Error, Problem, Role};

/// An app whose clock stands still, and the folder that holds its database.
pub struct Bench {
    pub app: Arc<App>,
    _folder: TempDir,
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
        let url = format!("sqlite://{}?mode=rwc", path.display());
        Self::at(&url, folder).await
    }

    /// One on each database there is to test on.
    pub async fn everywhere() -> Vec<Self> {
        let mut benches = vec![Self::new().await];
        if let Ok(admin_url) = std::env::var("NAMEPLATE_TEST_PG") {
            let number = MADE.fetch_add(1, Ordering::Relaxed);
            let name = format!("nameplate_bench_{}_{number}", std::process::id());
            let admin = Database::connect(&admin_url).await.unwrap();
            let create = format!("CREATE DATABASE {name} TEMPLATE template0");
            admin.execute_unprepared(&create).await.unwrap();
            let (server, _) = admin_url.rsplit_once('/').unwrap();
            let folder = tempfile::tempdir().unwrap();
            benches.push(Self::at(&format!("{server}/{name}"), folder).await);
        }
        benches
    }

    async fn at(url: &str, folder: TempDir) -> Self {
        let db = Db::open(url).await.unwrap();
        Self {
            app: App::new(db, Config::default(), Clock::standing_at(noon())),
            _folder: folder,
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
