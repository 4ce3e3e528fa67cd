//! The journal's chain of hashes, further bank accounts, retired accounts, the fiscal year, and who closed and opened
//! the books.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::DatabaseBackend;

use crate::columns::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        create(manager, journal_seal()).await?;
        create(manager, period_event()).await?;
        index(manager, "period_event", &["entry_id"]).await?;
        index(manager, "period_event", &["staff_id"]).await?;
        add(manager, "account", no("is_bank")).await?;
        add(manager, "account", instant_null("retired_at")).await?;
        add(manager, "account", set_to("version", 1)).await?;
        add(manager, "shop", set_to("fiscal_year_end_month", 12)).await?;
        add(manager, "journal_entry", whole_null("closes_year")).await?;
        add(manager, "posting", day_null("entry_on")).await?;
        index(manager, "journal_entry", &["closes_year"]).await?;
        manager.create_index(balance_index()).await?;
        index(manager, "posting", &["tax_level_id", "entry_on"]).await?;
        // The two above begin with the same columns.
        for name in ["ix_posting_account_id", "ix_posting_tax_level_id"] {
            let mut gone = Index::drop();
            gone.name(name).table("posting");
            manager.drop_index(gone).await?;
        }
        index(manager, "invoice", &["issued_on"]).await?;
        index(manager, "payment", &["received_on"]).await?;
        let connection = manager.get_connection();
        for statement in fill(manager.get_database_backend()) {
            connection.execute_unprepared(&statement).await?;
        }
        Ok(())
    }
}

/// The hash of each entry, over its content and the hash before it.
fn journal_seal() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("journal_seal")
        .col(number("entry_id").primary_key())
        .foreign_key(&mut reference("journal_seal", "entry_id", "journal_entry"))
        .col(text("hash"));
    table
}

/// Who closed or opened the books, when and why.
fn period_event() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("period_event")
        .col(id())
        .col(text("kind"))
        .col(day_null("closed_before"))
        .col(day_null("closed_through"))
        .col(whole_null("year"))
        .col(number_null("entry_id"))
        .foreign_key(&mut reference("period_event", "entry_id", "journal_entry"))
        .col(text_null("reason"))
        .col(instant("at"))
        .col(number("staff_id"))
        .foreign_key(&mut reference("period_event", "staff_id", "staff"))
        .check(one_of(
            "kind",
            &[
                "books_closed",
                "books_reopened",
                "year_closed",
                "year_reopened",
            ],
        ));
    table
}

/// A balance through a day and the lines of an account in order are read from this index alone.
fn balance_index() -> IndexCreateStatement {
    let mut index = Index::create();
    index.name("ix_posting_balance").table("posting");
    for column in [
        "account_id",
        "entry_on",
        "id",
        "entry_id",
        "debit_cents",
        "credit_cents",
    ] {
        index.col(column);
    }
    index
}

/// Fills what older rows lack. Their guards stand aside meanwhile, and the new tables get guards of their own.
fn fill(backend: DatabaseBackend) -> Vec<String> {
    let fill = [
        "UPDATE posting SET entry_on = (SELECT e.entry_on FROM journal_entry e WHERE e.id = posting.entry_id)",
        "UPDATE account SET is_bank = TRUE WHERE role = 'bank'",
        // The program hashes these when it opens; an entry that comes later has its hash from the start.
        "INSERT INTO journal_seal (entry_id, hash) SELECT id, '' FROM journal_entry ORDER BY id",
    ]
    .map(str::to_owned);
    let (aside, back): (&str, Vec<String>) = match backend {
        DatabaseBackend::Sqlite => ("DROP TRIGGER keep_posting_update", sqlite_guards()),
        _ => ("DROP TRIGGER keep_posting ON posting", postgres_guards()),
    };
    [vec![aside.to_owned()], fill.to_vec(), back].concat()
}

fn sqlite_guards() -> Vec<String> {
    let guard = |name: &str, act: &str, table: &str, when: &str| {
        format!(
            "CREATE TRIGGER keep_{table}_{name} BEFORE {act} ON {table} {when} \
             BEGIN SELECT RAISE(ABORT, '{table} is never changed'); END"
        )
    };
    vec![
        guard("update", "UPDATE", "posting", ""),
        guard("update", "UPDATE", "journal_seal", "WHEN old.hash <> ''"),
        guard("delete", "DELETE", "journal_seal", ""),
        guard("update", "UPDATE", "period_event", ""),
        guard("delete", "DELETE", "period_event", ""),
    ]
}

fn postgres_guards() -> Vec<String> {
    let guard = |name: &str, act: &str, table: &str, when: &str| {
        format!(
            "CREATE TRIGGER {name} BEFORE {act} ON {table} FOR EACH ROW {when} \
             EXECUTE FUNCTION keep_as_written()"
        )
    };
    let both = "UPDATE OR DELETE";
    vec![
        guard("keep_posting", both, "posting", ""),
        guard(
            "keep_journal_seal",
            "UPDATE",
            "journal_seal",
            "WHEN (old.hash <> '')",
        ),
        guard("keep_journal_seal_rows", "DELETE", "journal_seal", ""),
        guard("keep_period_event", both, "period_event", ""),
    ]
}

/// A choice that the rows there are did not make.
fn no(name: &'static str) -> ColumnDef {
    let mut column = yes_no(name);
    column.default(false);
    column
}

/// A whole number that the rows there are begin with.
fn set_to(name: &'static str, value: i32) -> ColumnDef {
    let mut column = whole(name);
    column.default(value);
    column
}

/// Adds one column: `SQLite` takes one at a time.
async fn add(
    manager: &SchemaManager<'_>,
    table: &'static str,
    column: ColumnDef,
) -> Result<(), DbErr> {
    let mut change = Table::alter();
    change.table(table).add_column(column);
    manager.alter_table(change).await
}
