//! What was refunded out of a payment that came back is billed to its customer again.

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
        add(manager, "invoice", number_null("returned_payment_id")).await?;
        unique(manager, "invoice", &["returned_payment_id"]).await
    }
}
