//! What neither builder nor plain constraint can say: the substring index behind the search box, and
//! triggers that refuse to change or delete the journal and issued documents.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::DatabaseBackend;

#[derive(DeriveMigrationName)]
pub struct Migration;

/// Tables whose rows are never changed or deleted once written.
const UNCHANGING: [&str; 10] = [
    "journal_entry",
    "posting",
    "invoice",
    "invoice_line",
    "invoice_tax",
    "allocation",
    "estimate_option",
    "estimate_line",
    "estimate_tax",
    "audit_entry",
];

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let connection = manager.get_connection();
        let statements = match manager.get_database_backend() {
            DatabaseBackend::Sqlite => sqlite(),
            _ => postgres(),
        };
        for statement in statements {
            connection.execute_unprepared(&statement).await?;
        }
        Ok(())
    }
}

fn sqlite() -> Vec<String> {
    let mut statements = vec![
        "CREATE VIRTUAL TABLE search_text USING fts5(body, content='search_entry', content_rowid='id', tokenize='trigram')".to_owned(),
        "CREATE TRIGGER search_entry_added AFTER INSERT ON search_entry BEGIN INSERT INTO search_text(rowid, body) VALUES (new.id, new.body); END".to_owned(),
        "CREATE TRIGGER search_entry_removed AFTER DELETE ON search_entry BEGIN INSERT INTO search_text(search_text, rowid, body) VALUES ('delete', old.id, old.body); END".to_owned(),
        "CREATE TRIGGER search_entry_changed AFTER UPDATE ON search_entry BEGIN INSERT INTO search_text(search_text, rowid, body) VALUES ('delete', old.id, old.body); INSERT INTO search_text(rowid, body) VALUES (new.id, new.body); END".to_owned(),
    ];
    for table in UNCHANGING {
        for act in ["UPDATE", "DELETE"] {
            statements.push(format!(
                "CREATE TRIGGER keep_{table}_{} BEFORE {act} ON {table} BEGIN SELECT RAISE(ABORT, '{table} is never changed'); END",
                act.to_lowercase()
            ));
        }
    }
    statements
}

fn postgres() -> Vec<String> {
    let mut statements = vec![
        "CREATE EXTENSION IF NOT EXISTS pg_trgm".to_owned(),
        "CREATE VIEW search_text AS SELECT id AS rowid, body FROM search_entry".to_owned(),
        "CREATE INDEX ix_search_entry_body ON search_entry USING gin (body gin_trgm_ops)".to_owned(),
        "CREATE FUNCTION keep_as_written() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION '% is never changed', TG_TABLE_NAME; END $$".to_owned(),
    ];
    for table in UNCHANGING {
        statements.push(format!(
            "CREATE TRIGGER keep_{table} BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION keep_as_written()"
        ));
    }
    statements
}
