//! The journal by day and then as posted, as it is handed to the accountant page by page.

use sea_orm_migration::prelude::*;

use crate::columns::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        index(manager, "journal_entry", &["entry_on", "id"]).await?;
        // The new one begins with the same column.
        manager
            .drop_index(
                Index::drop()
                    .name("ix_journal_entry_entry_on")
                    .table("journal_entry")
                    .to_owned(),
            )
            .await
    }
}
