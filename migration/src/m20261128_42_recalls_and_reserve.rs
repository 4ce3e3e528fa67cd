//! Safety recalls, and the warranty reserve month by month.

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
        create(manager, recall()).await?;
        create(manager, recall_product()).await?;
        create(manager, recall_check()).await?;
        create(manager, reserve_run()).await?;
        create(manager, reserve_stratum()).await?;
        indexes(manager).await
    }
}

async fn indexes(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    unique(manager, "recall", &["source", "number"]).await?;
    index(manager, "recall", &["imported_by"]).await?;
    index(manager, "recall_product", &["make_key"]).await?;
    index(manager, "recall_product", &["recall_id"]).await?;
    unique(manager, "recall_check", &["recall_id", "appliance_id"]).await?;
    index(manager, "recall_check", &["appliance_id"]).await?;
    index(manager, "recall_check", &["checked_by"]).await?;
    unique(manager, "reserve_run", &["through_on"]).await?;
    index(manager, "reserve_run", &["entry_id"]).await?;
    index(manager, "reserve_run", &["run_by"]).await?;
    index(manager, "reserve_stratum", &["run_id"]).await?;
    index(manager, "reserve_stratum", &["appliance_type_id"]).await?;
    index(manager, "reserve_stratum", &["component_id"]).await
}

/// A safety recall.
fn recall() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("recall")
        .col(id())
        .col(text("source"))
        .col(text("number"))
        .col(day("published_on"))
        .col(text("title"))
        .col(text("hazard"))
        .col(text("remedy"))
        .col(text_null("url"))
        .col(day_null("withdrawn_on"))
        .col(instant("imported_at"))
        .col(number("imported_by"))
        .foreign_key(&mut reference("recall", "imported_by", "staff"))
        .col(whole("version"));
    table
}

/// Which machines a recall is about.
fn recall_product() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("recall_product")
        .col(id())
        .col(number("recall_id"))
        .foreign_key(&mut reference("recall_product", "recall_id", "recall"))
        .col(text("make"))
        .col(text("make_key"))
        .col(text_null("model_pattern"))
        .col(text_null("serial_from"))
        .col(text_null("serial_through"))
        .col(text_null("description"));
    table
}

/// That somebody looked whether a recall is about a machine, or told the customer.
fn recall_check() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("recall_check")
        .col(id())
        .col(number("recall_id"))
        .foreign_key(&mut reference("recall_check", "recall_id", "recall"))
        .col(number("appliance_id"))
        .foreign_key(&mut reference("recall_check", "appliance_id", "appliance"))
        .col(yes_no("is_meant"))
        .col(text_null("note"))
        .col(day_null("told_on"))
        .col(day_null("done_on"))
        .col(instant("checked_at"))
        .col(number("checked_by"))
        .foreign_key(&mut reference("recall_check", "checked_by", "staff"))
        .col(whole("version"));
    table
}

/// The warranty reserve as worked out at the end of a month.
fn reserve_run() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("reserve_run")
        .col(id())
        .col(day("through_on"))
        .col(cents("opening_cents"))
        .col(cents("used_cents"))
        .col(cents("new_cents"))
        .col(cents("earlier_cents"))
        .col(cents("closing_cents"))
        .col(number_null("entry_id"))
        .foreign_key(&mut reference("reserve_run", "entry_id", "journal_entry"))
        .col(whole("promise_days"))
        .col(instant("run_at"))
        .col(number("run_by"))
        .foreign_key(&mut reference("reserve_run", "run_by", "staff"))
        .check(Expr::cust(
            "opening_cents + used_cents + new_cents + earlier_cents = closing_cents",
        ))
        .check(Expr::cust("used_cents <= 0"));
    table
}

/// One kind of machine and component in a run.
fn reserve_stratum() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("reserve_stratum")
        .col(id())
        .col(number("run_id"))
        .foreign_key(&mut reference("reserve_stratum", "run_id", "reserve_run"))
        .col(number("appliance_type_id"))
        .foreign_key(&mut reference(
            "reserve_stratum",
            "appliance_type_id",
            "appliance_type",
        ))
        .col(number("component_id"))
        .foreign_key(&mut reference(
            "reserve_stratum",
            "component_id",
            "component",
        ))
        .col(whole("repairs"))
        .col(whole("returns"))
        .col(whole("open_repairs"))
        .col(exact("expected_returns"))
        .col(exact("mean_cost"))
        .col(cents("cents"));
    table
}
