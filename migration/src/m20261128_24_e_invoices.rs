//! Which customers want e-invoices, and the number under which the shop pays over tax.

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
            .table("shop")
            .add_column(text_null("tax_registration"));
        manager.alter_table(change).await?;
        create(manager, e_invoicing()).await
    }
}

/// What a customer wants of e-invoices.
fn e_invoicing() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("e_invoicing")
        .col(number("customer_id").primary_key())
        .foreign_key(&mut reference("e_invoicing", "customer_id", "customer"))
        .col(yes_no("wanted"))
        .col(text_null("buyer_reference"))
        .col(text_null("registration"))
        .col(whole("version"));
    table
}
