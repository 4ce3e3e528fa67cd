//! Payments that entries by hand took to a bank before slips did, and since when a payment waits again.

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
        for column in [
            day_null("waits_again_from"),
            instant_null("banked_before_at"),
        ] {
            let mut change = Table::alter();
            change.table("payment").add_column(column);
            manager.alter_table(change).await?;
        }
        let connection = manager.get_connection();
        connection.execute_unprepared(WAIT_AGAIN).await?;
        Ok(())
    }
}

/// Slips that were undone before said so only themselves.
const WAIT_AGAIN: &str = "UPDATE payment SET waits_again_from = (SELECT MAX(d.undone_on) FROM bank_deposit_line l \
     JOIN bank_deposit d ON d.id = l.deposit_id WHERE l.payment_id = payment.id)";
