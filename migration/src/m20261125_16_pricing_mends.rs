//! Which options a certificate set free of tax is looked up, and the last purchase under each is read anew from the
//! invoices that stand.

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
        index(manager, "estimate_option", &["tax_exemption_id"]).await?;
        let statement = "UPDATE tax_exemption SET last_purchase_on = (SELECT MAX(i.issued_on) FROM estimate_option o \
             JOIN estimate_revision r ON r.id = o.revision_id \
             JOIN invoice i ON i.billed_option_id = o.id \
             OR (i.billed_option_id IS NULL AND i.estimate_revision_id = r.id AND r.accepted_option_id = o.id) \
             WHERE o.tax_exemption_id = tax_exemption.id AND i.kind = 'invoice' \
             AND NOT EXISTS (SELECT 1 FROM invoice c WHERE c.credits_invoice_id = i.id)) \
             WHERE last_purchase_on IS NOT NULL";
        manager
            .get_connection()
            .execute_unprepared(statement)
            .await?;
        Ok(())
    }
}
