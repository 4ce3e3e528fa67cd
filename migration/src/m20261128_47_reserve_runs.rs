//! Runs of the warranty reserve can be undone, and say what was set aside for promises made in their month; a recall knows
//! whether its publisher named other products since.

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
        let mut one_a_month = Index::drop();
        one_a_month
            .name("ux_reserve_run_through_on")
            .table("reserve_run");
        manager.drop_index(one_a_month).await?;
        // The day again while the run stands, so that a month has one that does.
        add(manager, "reserve_run", day_null("standing_on")).await?;
        add(manager, "reserve_run", instant_null("undone_at")).await?;
        add(manager, "reserve_run", number_null("undone_by")).await?;
        add(manager, "reserve_run", text_null("undone_because")).await?;
        unique(manager, "reserve_run", &["standing_on"]).await?;
        index(manager, "reserve_run", &["through_on"]).await?;
        index(manager, "reserve_run", &["undone_by"]).await?;
        for mut column in [whole("new_repairs"), cents("new_cents")] {
            column.default(0);
            add(manager, "reserve_stratum", column).await?;
        }
        index(manager, "shop_warranty", &["written_on"]).await?;
        add(manager, "recall", text_null("products_print")).await
    }
}
