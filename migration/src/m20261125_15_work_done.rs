//! The drafted option that an invoice bills in place of the accepted one.

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
        let mut change = Table::alter();
        change
            .table("invoice")
            .add_column(number_null("billed_option_id"));
        manager.alter_table(change).await?;
        index(manager, "invoice", &["billed_option_id"]).await
    }
}
