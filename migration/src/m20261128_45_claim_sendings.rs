//! What went to a warranty payer with a claim, as it went.

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
        create(manager, claim_sending()).await?;
        index(manager, "claim_sending", &["claim_id", "id"]).await?;
        unique(manager, "claim_sending", &["step_id"]).await
    }
}

/// The archive of a claim that was submitted. It never changes.
fn claim_sending() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("claim_sending")
        .col(id())
        .col(number("claim_id"))
        .foreign_key(&mut reference("claim_sending", "claim_id", "claim"))
        .col(number("step_id"))
        .foreign_key(&mut reference("claim_sending", "step_id", "claim_step"))
        .col(text("archive_json"))
        .col(text("sha256"))
        .col(number("byte_count"))
        .col(text_null("mailed_to"));
    table
}
