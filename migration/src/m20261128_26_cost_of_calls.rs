//! What parts cost is known by the call or invoice they left for: moves say for which invoice, and which earlier move a
//! settlement is about; a layer says which move made it.

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
        add(manager, "stock_move", number_null("invoice_id")).await?;
        add(manager, "stock_move", number_null("settles_move_id")).await?;
        add(manager, "stock_layer", number_null("move_id")).await?;
        index(manager, "stock_move", &["invoice_id"]).await?;
        index(manager, "stock_move", &["settles_move_id"]).await?;
        index(manager, "stock_move", &["part_id", "moved_on"]).await?;
        index(manager, "part_order", &["call_id", "state"]).await?;
        // The new ones begin with the same column.
        for (table, name) in [
            ("stock_move", "ix_stock_move_part_id"),
            ("part_order", "ix_part_order_call_id"),
        ] {
            manager
                .drop_index(Index::drop().name(name).table(table).to_owned())
                .await?;
        }
        Ok(())
    }
}
