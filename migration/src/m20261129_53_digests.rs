//! The owner's mails of what came back: a switch for the daily one, and when which was made. Flags are found by when they
//! were raised.

use sea_orm_migration::prelude::*;

use crate::columns::*;
use crate::m20261125_13_offers::with_default;
use crate::m20261128_20_stock::add;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        index(manager, "flag", &["raised_at"]).await?;
        add(manager, "shop", with_default(yes_no("flag_digest"), true)).await?;
        create(
            manager,
            Table::create()
                .table("owner_letter")
                .col(id())
                .col(text("kind"))
                .col(day("of_day"))
                .col(instant("made_at"))
                .col(text("content_json"))
                .check(one_of("kind", &["digest", "summary"]))
                .to_owned(),
        )
        .await?;
        // One of each kind for a day, whoever makes it, however often.
        unique(manager, "owner_letter", &["kind", "of_day"]).await
    }
}
