//! Flags about what several machines have in common.

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
        let mut one_a_failure = Index::drop();
        one_a_failure
            .name("ux_flag_call_id_component_id_failure_mode_id")
            .table("flag");
        manager.drop_index(one_a_failure).await?;
        // A flag about several machines may stand at the same finding as that of its machine.
        index(
            manager,
            "flag",
            &["call_id", "component_id", "failure_mode_id"],
        )
        .await?;
        // What machines have in common, and which; empty for a flag about one machine.
        add(manager, "flag", text_null("pattern")).await?;
        add(manager, "flag", text_null("pattern_key")).await?;
        add(manager, "flag", text_null("pattern_label")).await?;
        add(manager, "flag", number_null("observed")).await?;
        add(manager, "flag", exact_null("expected")).await?;
        add(manager, "flag", exact_null("ratio_low")).await?;
        unique(manager, "flag", &["pattern", "pattern_key"]).await?;
        index(manager, "finding", &["call_id", "failure_mode_id"]).await
    }
}
