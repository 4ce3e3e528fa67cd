//! The days of a flag's evidence are counted as they are asked for, as the flag's own call may be another by then.

use sea_orm_migration::prelude::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut change = Table::alter();
        change.table("flag_evidence").drop_column("days_before");
        manager.alter_table(change).await
    }
}
