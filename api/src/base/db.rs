//! One way to read and one way to write, on either database.
//!
//! Writers queue: `SQLite` has one writing connection and begins IMMEDIATE; `PostgreSQL` takes one
//! transaction-wide lock first. So a write sees everything written before it, check-then-write needs
//! no retry, and number series have no gap. Readers are never held up. (Why not more writers:
//! DEVELOPERS.md, "Why".)

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use nameplate_migration::{Migrator, MigratorTrait};
use sea_orm::sqlx::sqlite::{SqliteJournalMode, SqliteSynchronous};
use sea_orm::{
    AccessMode, ConnectOptions, ConnectionTrait, Database, DatabaseBackend, DatabaseConnection,
    DatabaseTransaction, DbErr, IsolationLevel, SqliteTransactionMode, TransactionOptions,
    TransactionTrait,
};

use super::error::Result;

/// Any number, as long as nothing else in the same database uses it.
const WRITER_LOCK: i64 = 6_273_753;
const MIGRATION_LOCK: i64 = 6_273_754;

/// The shop's database.
#[derive(Clone)]
pub struct Db {
    write: DatabaseConnection,
    read: DatabaseConnection,
    statements: Arc<AtomicU64>,
}

impl Db {
    /// Opens the database named by `url` and brings its schema up to date.
    ///
    /// # Errors
    /// When it cannot be reached or migrated.
    pub async fn open(url: &str) -> Result<Self> {
        let sqlite = url.starts_with("sqlite:");
        let statements = Arc::new(AtomicU64::new(0));
        let write = connect(url, if sqlite { 1 } else { 16 }, &statements).await?;
        migrate(&write).await?;
        let read = connect(url, if sqlite { 4 } else { 16 }, &statements).await?;
        Ok(Self {
            write,
            read,
            statements,
        })
    }

    /// Plain reads; each statement sees what is committed when it starts.
    pub fn read(&self) -> &DatabaseConnection {
        &self.read
    }

    /// Several reads that must agree with one another.
    #[expect(clippy::disallowed_methods, reason = "the one place that begins reads")]
    pub async fn snapshot(&self) -> Result<DatabaseTransaction> {
        let options = match self.read.get_database_backend() {
            DatabaseBackend::Postgres => TransactionOptions {
                isolation_level: Some(IsolationLevel::RepeatableRead),
                access_mode: Some(AccessMode::ReadOnly),
                ..Default::default()
            },
            _ => TransactionOptions::default(),
        };
        Ok(self.read.begin_with_options(options).await?)
    }

    /// The one way to write: everything in it happens, or nothing. Dropped without `commit`, nothing.
    #[expect(
        clippy::disallowed_methods,
        reason = "the one place that begins writes"
    )]
    pub async fn write(&self) -> Result<DatabaseTransaction> {
        let options = TransactionOptions {
            sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
            ..Default::default()
        };
        let transaction = self.write.begin_with_options(options).await?;
        if transaction.get_database_backend() == DatabaseBackend::Postgres {
            transaction
                .execute_unprepared(&format!("SELECT pg_advisory_xact_lock({WRITER_LOCK})"))
                .await?;
        }
        Ok(transaction)
    }

    /// How many SQL statements were run so far; tests compare two readings.
    pub fn statements(&self) -> u64 {
        self.statements.load(Ordering::Relaxed)
    }

    /// Closes every connection.
    pub async fn close(self) -> Result<()> {
        self.read.close().await?;
        self.write.close().await?;
        Ok(())
    }
}

async fn connect(
    url: &str,
    connections_max: u32,
    statements: &Arc<AtomicU64>,
) -> std::result::Result<DatabaseConnection, DbErr> {
    let mut options = ConnectOptions::new(url);
    options
        .max_connections(connections_max)
        .min_connections(1)
        .acquire_timeout(Duration::from_secs(10))
        .sqlx_logging(false)
        .map_sqlx_sqlite_opts(|sqlite| {
            sqlite
                .journal_mode(SqliteJournalMode::Wal)
                .synchronous(SqliteSynchronous::Full)
                .foreign_keys(true)
                .busy_timeout(Duration::from_secs(5))
        });
    let mut connection = Database::connect(options).await?;
    let counter = Arc::clone(statements);
    connection.set_metric_callback(move |_| {
        counter.fetch_add(1, Ordering::Relaxed);
    });
    Ok(connection)
}

/// Runs the steps that are missing. Two processes may start at once: one waits for the other.
async fn migrate(connection: &DatabaseConnection) -> std::result::Result<(), DbErr> {
    match connection.get_database_backend() {
        DatabaseBackend::Postgres => {
            let lock = begin_lock(connection).await?;
            lock.execute_unprepared(&format!("SELECT pg_advisory_xact_lock({MIGRATION_LOCK})"))
                .await?;
            Migrator::up(connection, None).await?;
            lock.commit().await
        }
        _ => migrate_sqlite(connection).await,
    }
}

#[expect(clippy::disallowed_methods, reason = "holds the migration lock only")]
async fn begin_lock(
    connection: &DatabaseConnection,
) -> std::result::Result<DatabaseTransaction, DbErr> {
    connection.begin().await
}

/// `SQLite` has no lock to wait on, so the loser of a race looks again once the winner is done.
async fn migrate_sqlite(connection: &DatabaseConnection) -> std::result::Result<(), DbErr> {
    let mut tries_left = 10_u32;
    loop {
        match Migrator::up(connection, None).await {
            Ok(()) => return Ok(()),
            Err(error) if tries_left == 0 => return Err(error),
            Err(_) => tries_left -= 1,
        }
        tokio::time::sleep(Duration::from_millis(300)).await;
    }
}
