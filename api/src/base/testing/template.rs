//! Migrated databases that tests copy, because migrating takes far longer than copying.
//!
//! `tests/run` names a folder of its own run in `NAMEPLATE_TEST_TEMPLATES`. The first test that needs a template makes it,
//! under another name until it is whole; the others wait. Its name holds the build of the tests, so that another build in
//! the same run makes its own. Without that folder every test migrates its own database from nothing.

use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};
use std::time::{Duration, UNIX_EPOCH};

use sea_orm::{ConnectionTrait, DatabaseConnection, DbBackend, Statement};

use super::super::db::Db;

/// Puts a migrated file there, or leaves it to the caller to migrate one.
pub async fn copy_sqlite(target: &Path) {
    let Some(folder) = folder() else { return };
    let template = folder.join(format!("{}.db", build()));
    if !template.exists() {
        let _lock = lock(&folder.join("sqlite.lock")).await;
        if !template.exists() {
            make_sqlite(&folder, &template).await;
        }
    }
    std::fs::copy(template, target).unwrap();
}

async fn make_sqlite(folder: &Path, template: &Path) {
    let unfinished = tempfile::tempdir_in(folder).unwrap();
    let file = unfinished.path().join("shop.db");
    migrate(&format!("sqlite://{}?mode=rwc", file.display())).await;
    let log = unfinished.path().join("shop.db-wal");
    assert!(!log.exists(), "the last connection folds its log in");
    std::fs::rename(file, template).unwrap();
}

/// Makes a database of that name: a migrated one, or an empty one that is left to the caller to migrate.
pub async fn copy_postgres(admin: &DatabaseConnection, server: &str, name: &str) {
    let template = match folder() {
        Some(folder) => postgres(admin, server, &folder).await,
        None => "template0".to_owned(),
    };
    // Copying files takes a third of the time that copying by the log does.
    let create = format!("CREATE DATABASE {name} TEMPLATE {template} STRATEGY file_copy");
    admin.execute_unprepared(&create).await.unwrap();
}

/// The name of the migrated database, which is made if it is not there.
async fn postgres(admin: &DatabaseConnection, server: &str, folder: &Path) -> String {
    let template = format!("nameplate_bench_{}", build());
    if !exists(admin, &template).await {
        let _lock = lock(&folder.join("postgres.lock")).await;
        if !exists(admin, &template).await {
            make_postgres(admin, server, &template).await;
        }
    }
    template
}

async fn make_postgres(admin: &DatabaseConnection, server: &str, template: &str) {
    let unfinished = format!("{template}_unfinished");
    for sql in [
        format!("DROP DATABASE IF EXISTS {unfinished} WITH (FORCE)"),
        format!("CREATE DATABASE {unfinished} TEMPLATE template0"),
    ] {
        admin.execute_unprepared(&sql).await.unwrap();
    }
    migrate(&format!("{server}/{unfinished}")).await;
    for sql in [
        // Nobody can be connected to what is copied. A session just closed may be seen a moment longer; both that
        // and the clean-up of old rows PostgreSQL waits for itself.
        format!("ALTER DATABASE {unfinished} ALLOW_CONNECTIONS false"),
        format!("ALTER DATABASE {unfinished} RENAME TO {template}"),
    ] {
        admin.execute_unprepared(&sql).await.unwrap();
    }
}

async fn exists(admin: &DatabaseConnection, name: &str) -> bool {
    let question = Statement::from_sql_and_values(
        DbBackend::Postgres,
        "SELECT 1 FROM pg_database WHERE datname = $1",
        [name.into()],
    );
    admin.query_one_raw(question).await.unwrap().is_some()
}

async fn migrate(url: &str) {
    Db::open(url).await.unwrap().close().await.unwrap();
}

fn folder() -> Option<PathBuf> {
    std::env::var_os("NAMEPLATE_TEST_TEMPLATES").map(PathBuf::from)
}

/// Held until it is dropped; the system lets go of it even if this process dies.
async fn lock(path: &Path) -> File {
    let file = File::create(path).unwrap();
    while let Err(error) = file.try_lock() {
        assert!(matches!(error, TryLockError::WouldBlock), "{error}");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    file
}

/// Tells one build of the tests, and so of the migrations in it, from the next.
fn build() -> String {
    let about = std::fs::metadata(std::env::current_exe().unwrap()).unwrap();
    let built = about.modified().unwrap().duration_since(UNIX_EPOCH);
    format!("{:x}_{:x}", about.len(), built.unwrap().as_nanos())
}
