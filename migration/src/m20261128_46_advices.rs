//! What an advice's rows came to, money that waits for its claim, and files that may come again once they were dropped.

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
        add(manager, "payer_advice", text_null("standing_sha256")).await?;
        add(manager, "payer_advice", instant_null("undone_at")).await?;
        add(manager, "payer_advice", text_null("undone_because")).await?;
        let mut none = cents("held_cents");
        none.default(0);
        add(manager, "payment", none).await?;
        add(manager, "advice_row", day_null("paid_on")).await?;
        add(manager, "advice_row", cents_null("laid_cents")).await?;
        add(manager, "advice_row", text_null("outcome")).await?;
        let old = Index::drop()
            .name("ux_payer_advice_payer_id_sha256")
            .table("payer_advice")
            .to_owned();
        manager.drop_index(old).await?;
        let connection = manager.get_connection();
        connection.execute_unprepared(STANDING).await?;
        unique(manager, "payer_advice", &["payer_id", "standing_sha256"]).await?;
        index(manager, "claim", &["submitted_on", "payer_id"]).await
    }
}

const STANDING: &str = "UPDATE payer_advice SET standing_sha256 = sha256 WHERE dropped_at IS NULL";
