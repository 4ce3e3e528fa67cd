//! What became of each completed repair, counted by group: the ground of every rate of return.

use sea_orm_migration::prelude::*;

use crate::columns::*;
use crate::m20261128_20_stock::add;

#[derive(DeriveMigrationName)]
pub struct Migration;

const DIMENSIONS: [&str; 11] = [
    "shop",
    "technician",
    "technician_method",
    "component",
    "failure_mode",
    "appliance_type",
    "model",
    "part",
    "lot",
    "method",
    "supplier",
];

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        create(manager, repair_outcome()).await?;
        create(manager, repair_group()).await?;
        create(manager, rate_cell()).await?;
        create(manager, outcome_due()).await?;
        unique(manager, "repair_outcome", &["call_id"]).await?;
        index(manager, "repair_outcome", &["appliance_id"]).await?;
        index(manager, "repair_outcome", &["component_id"]).await?;
        index(manager, "repair_outcome", &["technician_id"]).await?;
        index(manager, "repair_outcome", &["return_call_id"]).await?;
        index(manager, "repair_outcome", &["completed_on"]).await?;
        index(manager, "repair_group", &["call_id", "dimension"]).await?;
        index(manager, "rate_cell", &["component_id"]).await?;
        index(manager, "rate_cell", &["dimension", "group_key", "month"]).await?;
        add(manager, "part_used", number_null("supplier_id")).await?;
        index(manager, "part_used", &["supplier_id"]).await?;
        let database = manager.get_connection();
        // Few repairs come back: what they cost is found without the others.
        database
            .execute_unprepared(
                "CREATE INDEX ix_repair_outcome_returned ON repair_outcome (completed_on) \
                 WHERE return_call_id IS NOT NULL",
            )
            .await?;
        // Who supplied parts fitted so far was not kept; the catalogue's answer of today stands in.
        database
            .execute_unprepared(
                "UPDATE part_used SET supplier_id = \
                 (SELECT supplier_id FROM part WHERE part.id = part_used.part_id)",
            )
            .await?;
        database
            .execute_unprepared(
                "INSERT INTO outcome_due (appliance_id) SELECT DISTINCT appliance_id \
                 FROM service_call WHERE state = 'completed' AND kind = 'repair'",
            )
            .await?;
        Ok(())
    }
}

/// One row a completed repair call, and the first later call that counts against it.
fn repair_outcome() -> TableCreateStatement {
    let table_name = "repair_outcome";
    let mut table = Table::create();
    table
        .table(table_name)
        .col(id())
        .col(number("call_id"))
        .foreign_key(&mut reference(table_name, "call_id", "service_call"))
        .col(number("appliance_id"))
        .foreign_key(&mut reference(table_name, "appliance_id", "appliance"))
        .col(number("component_id"))
        .foreign_key(&mut reference(table_name, "component_id", "component"))
        .col(number("technician_id"))
        .foreign_key(&mut reference(table_name, "technician_id", "staff"))
        .col(day("completed_on"))
        .col(number_null("return_call_id"))
        .foreign_key(&mut reference(table_name, "return_call_id", "service_call"))
        .col(whole_null("return_age_days"))
        .col(yes_no("same_component"))
        .check(Expr::cust(
            "(return_call_id IS NULL) = (return_age_days IS NULL)",
        ))
        .check(Expr::cust("return_age_days >= 1"));
    table
}

/// The groups a repair is counted in: who did it, what failed, what was fitted.
fn repair_group() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("repair_group")
        .col(text("dimension"))
        .col(text("group_key"))
        .col(day("completed_on"))
        .col(number("call_id"))
        .foreign_key(&mut reference("repair_group", "call_id", "service_call"))
        .primary_key(
            Index::create()
                .col("dimension")
                .col("group_key")
                .col("completed_on")
                .col("call_id"),
        )
        .check(one_of("dimension", &DIMENSIONS));
    table
}

/// How many repairs of a group, month and component came back at which age; age 0 stands for those that did not. Counts
/// take no check: what is taken off comes as a row below zero that is added to the one that is there.
fn rate_cell() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("rate_cell")
        .col(text("dimension"))
        .col(text("group_key"))
        .col(day("month"))
        .col(number("component_id"))
        .foreign_key(&mut reference("rate_cell", "component_id", "component"))
        .col(whole("age_days"))
        .col(number("repairs"))
        .col(number("same_component"))
        .primary_key(
            Index::create()
                .col("dimension")
                .col("month")
                .col("group_key")
                .col("component_id")
                .col("age_days"),
        )
        .check(one_of("dimension", &DIMENSIONS))
        .check(Expr::cust("age_days >= 0"));
    table
}

/// Machines repaired before outcomes were kept; worked off when the program opens.
fn outcome_due() -> TableCreateStatement {
    let mut table = Table::create();
    let mut key = number("appliance_id");
    key.primary_key();
    table
        .table("outcome_due")
        .col(key)
        .foreign_key(&mut reference("outcome_due", "appliance_id", "appliance"));
    table
}
