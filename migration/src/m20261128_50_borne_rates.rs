//! What an hour of labour cost when the shop bore it, and claims by the payer's own number.

use sea_orm_migration::prelude::*;

use crate::columns::*;
use crate::m20261128_20_stock::add;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        // Rows that are there say nothing: which cost they were made with was not kept.
        add(manager, "call_borne", cents_null("labour_hour_cents")).await?;
        index(manager, "claim", &["payer_id", "payer_reference"]).await
    }
}
