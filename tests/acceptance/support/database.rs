//! A fresh, migrated database for each test.
//!
//! Migrating takes longer than copying, so each kind is migrated once into a template and copied from there: a file
//! for SQLite, a template database for PostgreSQL. Tests run in processes of their own, so a lock on a file decides
//! who makes the template and who waits for it. It is stamped with the program that migrated it: a newly built
//! program makes a new one.

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use sea_orm::{
    ConnectOptions, ConnectionTrait, Database, DatabaseConnection, DbBackend, Statement,
};
use tempfile::TempDir;

use super::program;

/// Which of the two databases a test stands on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Backend {
    Sqlite,
    Postgres,
}

/// A database of this test alone. It is gone when the value is dropped.
pub struct TestDatabase {
    backend: Backend,
    url: String,
    /// Holds the SQLite file, and is the working folder of commands run on this database.
    folder: TempDir,
}

/// What `nameplate verify` said.
#[derive(Debug)]
pub struct Verdict {
    /// The exit code; `None` when a signal ended it.
    pub code: Option<i32>,
    pub output: String,
}

impl TestDatabase {
    /// A copy of the migrated SQLite file, in a temporary folder.
    pub async fn sqlite() -> Self {
        let folder = new_folder();
        let file = folder.path().join("shop.db");
        copy_sqlite_template(&file);
        Self {
            backend: Backend::Sqlite,
            url: sqlite_url(&file),
            folder,
        }
    }

    /// A copy of the migrated PostgreSQL template, in the cluster that `tests/run` started.
    pub async fn postgres() -> Self {
        let cluster = Cluster::from_environment();
        let template = cluster.template().await;
        let name = format!("nameplate_test_{}", unique());
        cluster.copy(&template, &name).await;
        Self {
            backend: Backend::Postgres,
            url: cluster.url_of(&name),
            folder: new_folder(),
        }
    }

    /// A SQLite file that is not there yet, for tests of migrating from nothing.
    pub fn empty_sqlite() -> Self {
        let folder = new_folder();
        Self {
            backend: Backend::Sqlite,
            url: sqlite_url(&folder.path().join("shop.db")),
            folder,
        }
    }

    /// A PostgreSQL database without a table, for tests of migrating from nothing.
    pub async fn empty_postgres() -> Self {
        let cluster = Cluster::from_environment();
        let name = format!("nameplate_test_{}", unique());
        cluster.copy("template0", &name).await;
        Self {
            backend: Backend::Postgres,
            url: cluster.url_of(&name),
            folder: new_folder(),
        }
    }

    /// What goes into `DATABASE_URL`.
    pub fn url(&self) -> &str {
        &self.url
    }

    pub fn backend(&self) -> Backend {
        self.backend
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// A connection past the program, to damage rows on purpose or to look at what no one may see.
    pub async fn connect(&self) -> DatabaseConnection {
        connect(&self.url).await
    }

    /// Runs one statement past the program.
    pub async fn execute(&self, sql: &str) {
        let connection = self.connect().await;
        connection
            .execute_unprepared(sql)
            .await
            .unwrap_or_else(|error| panic!("`{sql}` failed: {error}"));
        close(connection).await;
    }

    /// Runs `nameplate migrate` on this database.
    pub fn migrate(&self) {
        migrate(&self.url, self.folder.path());
    }

    /// Runs `nameplate verify` on this database.
    pub fn verify(&self) -> Verdict {
        let output = program::command(&self.url, self.folder.path())
            .arg("verify")
            .output()
            .expect("`nameplate verify` starts");
        Verdict {
            code: output.status.code(),
            output: program::printed(&output),
        }
    }

    /// Insists that everything that must always be true is true.
    ///
    /// # Panics
    /// With the row that `nameplate verify` names.
    #[track_caller]
    pub fn verify_is_clean(&self) {
        let verdict = self.verify();
        assert_eq!(
            verdict.code,
            Some(0),
            "`nameplate verify` found:\n{}",
            verdict.output
        );
    }
}

impl Drop for TestDatabase {
    fn drop(&mut self) {
        if self.backend == Backend::Sqlite {
            return;
        }
        let (server, name) = self
            .url
            .rsplit_once('/')
            .expect("a database URL ends in a name");
        let (admin_url, name) = (format!("{server}/postgres"), name.to_owned());
        // Dropping is not asynchronous and may happen inside a runtime, so the clean-up has a thread and runtime of its own.
        let cleaning = std::thread::spawn(move || {
            tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build()
                .expect("a runtime for the clean-up")
                .block_on(async {
                    let admin = connect(&admin_url).await;
                    let drop = format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)");
                    if let Err(error) = admin.execute_unprepared(&drop).await {
                        eprintln!("the test database {name} was not removed: {error}");
                    }
                });
        });
        if cleaning.join().is_err() && !std::thread::panicking() {
            eprintln!("removing a test database failed, see above");
        }
    }
}

/// The PostgreSQL cluster of this run.
struct Cluster {
    admin_url: String,
}

impl Cluster {
    fn from_environment() -> Self {
        let admin_url = std::env::var("NAMEPLATE_TEST_PG").unwrap_or_else(|_| {
            panic!(
                "NAMEPLATE_TEST_PG is not set, so there is no PostgreSQL to test on: \
                 run `tests/run`, or `tests/run COMMAND` for one command"
            )
        });
        Self { admin_url }
    }

    fn url_of(&self, database: &str) -> String {
        let (server, _) = self
            .admin_url
            .rsplit_once('/')
            .expect("NAMEPLATE_TEST_PG ends in the name of a database");
        format!("{server}/{database}")
    }

    /// The name of the migrated template database, made now if this is the first test that wants it.
    async fn template(&self) -> String {
        let name = format!("nameplate_template_{}", program_stamp());
        let _lock = lock("postgres.lock");
        let admin = connect(&self.admin_url).await;
        if !exists(&admin, &name).await {
            // Migrated under another name first: a half-made template must never be taken for a whole one.
            let unfinished = format!("{name}_unfinished");
            for sql in [
                format!("DROP DATABASE IF EXISTS {unfinished} WITH (FORCE)"),
                format!("CREATE DATABASE {unfinished} TEMPLATE template0"),
            ] {
                run(&admin, &sql).await;
            }
            migrate(&self.url_of(&unfinished), new_folder().path());
            // A session that the migration has just closed may still be counted for a moment.
            run_when_free(
                &admin,
                &format!("ALTER DATABASE {unfinished} RENAME TO {name}"),
            )
            .await;
        }
        close(admin).await;
        name
    }

    async fn copy(&self, template: &str, name: &str) {
        let admin = connect(&self.admin_url).await;
        let create = format!("CREATE DATABASE {name} TEMPLATE {template} STRATEGY file_copy");
        run_when_free(&admin, &create).await;
        close(admin).await;
    }
}

async fn exists(admin: &DatabaseConnection, name: &str) -> bool {
    let question = Statement::from_sql_and_values(
        DbBackend::Postgres,
        "SELECT 1 FROM pg_database WHERE datname = $1",
        [name.into()],
    );
    admin
        .query_one_raw(question)
        .await
        .expect("the list of databases can be read")
        .is_some()
}

async fn run(connection: &DatabaseConnection, sql: &str) {
    if let Err(error) = connection.execute_unprepared(sql).await {
        panic!("`{sql}` failed: {error}");
    }
}

/// Runs a statement that PostgreSQL refuses while someone is connected to the database it copies or renames.
async fn run_when_free(admin: &DatabaseConnection, sql: &str) {
    super::wait::eventually(sql, super::wait::PATIENCE, async || {
        match admin.execute_unprepared(sql).await {
            Ok(_) => Some(()),
            Err(error) if error.to_string().contains("being accessed by other users") => None,
            Err(error) => panic!("`{sql}` failed: {error}"),
        }
    })
    .await;
}

async fn connect(url: &str) -> DatabaseConnection {
    let mut options = ConnectOptions::new(url);
    options
        .max_connections(1)
        .sqlx_logging(false)
        .acquire_timeout(Duration::from_secs(30));
    Database::connect(options)
        .await
        .unwrap_or_else(|error| panic!("no connection to {url}: {error}"))
}

async fn close(connection: DatabaseConnection) {
    connection
        .close()
        .await
        .expect("a connection can be closed");
}

fn sqlite_url(file: &Path) -> String {
    format!("sqlite://{}?mode=rwc", file.display())
}

fn migrate(url: &str, folder: &Path) {
    let output = program::command(url, folder)
        .arg("migrate")
        .output()
        .expect("`nameplate migrate` starts");
    program::succeeded("`nameplate migrate`", &output);
}

fn copy_sqlite_template(target: &Path) {
    let _lock = lock("sqlite.lock");
    let templates = templates();
    let template = templates.join(format!("sqlite-{}", program_stamp()));
    if !template.is_dir() {
        for old in fs::read_dir(&templates)
            .expect("the folder of templates can be read")
            .flatten()
        {
            if old.file_name().to_string_lossy().starts_with("sqlite-") {
                fs::remove_dir_all(old.path()).expect("an old template can be removed");
            }
        }
        let unfinished = templates.join("sqlite-unfinished");
        fs::create_dir(&unfinished).expect("a folder for the template can be made");
        migrate(
            &sqlite_url(&unfinished.join("shop.db")),
            new_folder().path(),
        );
        fs::rename(&unfinished, &template).expect("the finished template can be moved in place");
    }
    fs::copy(template.join("shop.db"), target).expect("the template can be copied");
    // Normally there is none: the last connection to close folds it into the file.
    let log = template.join("shop.db-wal");
    if log.exists() {
        let mut copied_log = target.as_os_str().to_owned();
        copied_log.push("-wal");
        fs::copy(log, copied_log).expect("the template's log can be copied");
    }
}

fn templates() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("templates");
    fs::create_dir_all(&folder).expect("a folder for templates can be made");
    folder
}

/// Holds the others off until it is dropped; the system lets go of it even if this process dies.
fn lock(name: &str) -> File {
    let file = File::create(templates().join(name)).expect("a lock file can be made");
    file.lock().expect("a lock file can be locked");
    file
}

/// Tells one build of the program from the next, without reading all of it.
fn program_stamp() -> String {
    let about = fs::metadata(program::binary()).expect("the program can be looked at");
    let built = about
        .modified()
        .expect("this system keeps the time of a change")
        .duration_since(UNIX_EPOCH)
        .expect("the program was built after 1970");
    format!("{:x}_{:x}", about.len(), built.as_nanos())
}

fn new_folder() -> TempDir {
    tempfile::Builder::new()
        .prefix("nameplate-test-")
        .tempdir()
        .expect("a temporary folder can be made")
}

#[expect(
    clippy::disallowed_methods,
    reason = "names differ from those of other runs"
)]
fn unique() -> String {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let now = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .expect("it is after 1970");
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    format!("{}_{count}_{:x}", std::process::id(), now.as_nanos())
}
