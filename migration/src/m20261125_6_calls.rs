//! Calls, visits, readings, findings and remedies.

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
        create(manager, service_call()).await?;
        create(manager, visit()).await?;
        create(manager, visit_call()).await?;
        create(manager, reading()).await?;
        create(manager, finding()).await?;
        create(manager, remedy()).await?;
        create(manager, part_used()).await?;
        index(manager, "service_call", &["customer_id"]).await?;
        index(manager, "service_call", &["service_address_id"]).await?;
        index(manager, "service_call", &["opened_by"]).await?;
        index(manager, "service_call", &["appliance_id", "completed_on"]).await?;
        index(manager, "service_call", &["state", "opened_at"]).await?;
        unique(manager, "service_call", &["number"]).await?;
        index(manager, "visit", &["service_address_id"]).await?;
        index(manager, "visit", &["technician_id", "planned_on"]).await?;
        index(manager, "visit", &["planned_on"]).await?;
        index(manager, "visit_call", &["call_id"]).await?;
        unique(manager, "visit_call", &["visit_id", "call_id"]).await?;
        index(manager, "reading", &["call_id"]).await?;
        index(manager, "reading", &["taken_by"]).await?;
        index(manager, "finding", &["call_id"]).await?;
        index(manager, "finding", &["failure_mode_id"]).await?;
        index(manager, "finding", &["found_by"]).await?;
        index(manager, "finding", &["component_id", "failure_mode_id"]).await?;
        index(manager, "remedy", &["finding_id"]).await?;
        index(manager, "remedy", &["done_by"]).await?;
        index(manager, "part_used", &["remedy_id"]).await?;
        index(manager, "part_used", &["part_id"]).await?;
        Ok(())
    }
}

/// One complaint about one appliance, from the phone ringing to closed.
fn service_call() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("service_call")
        .col(id())
        .col(text("number"))
        .col(number("appliance_id"))
        .foreign_key(&mut reference("service_call", "appliance_id", "appliance"))
        .col(number("customer_id"))
        .foreign_key(&mut reference("service_call", "customer_id", "customer"))
        .col(number("service_address_id"))
        .foreign_key(&mut reference(
            "service_call",
            "service_address_id",
            "service_address",
        ))
        .col(text("kind"))
        .col(text("complaint"))
        .col(text("state"))
        .col(instant("opened_at"))
        .col(day("opened_on"))
        .col(instant_null("completed_at"))
        .col(day_null("completed_on"))
        .col(text_null("root_cause"))
        .col(number_null("opened_by"))
        .foreign_key(&mut reference("service_call", "opened_by", "staff"))
        .col(whole("version"))
        .check(one_of("kind", &["repair", "maintenance", "installation"]))
        .check(one_of("state", &["open", "completed", "cancelled"]));
    table
}

/// One trip to an address. Its trip charge is charged once.
fn visit() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("visit")
        .col(id())
        .col(number("service_address_id"))
        .foreign_key(&mut reference(
            "visit",
            "service_address_id",
            "service_address",
        ))
        .col(number("technician_id"))
        .foreign_key(&mut reference("visit", "technician_id", "staff"))
        .col(day("planned_on"))
        .col(text_null("window"))
        .col(text("state"))
        .col(instant_null("done_at"))
        .col(whole("version"))
        .check(one_of("state", &["planned", "done", "missed"]));
    table
}

/// Which calls a visit serves.
fn visit_call() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("visit_call")
        .col(id())
        .col(number("visit_id"))
        .foreign_key(&mut reference("visit_call", "visit_id", "visit"))
        .col(number("call_id"))
        .foreign_key(&mut reference("visit_call", "call_id", "service_call"));
    table
}

/// A measurement with its verdict.
fn reading() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("reading")
        .col(id())
        .col(number("call_id"))
        .foreign_key(&mut reference("reading", "call_id", "service_call"))
        .col(instant("taken_at"))
        .col(number("taken_by"))
        .foreign_key(&mut reference("reading", "taken_by", "staff"))
        .col(text("quantity"))
        .col(exact("value"))
        .col(text("unit"))
        .col(text("place"))
        .col(yes_no("isolated"))
        .col(whole_null("wire_awg"))
        .col(yes_no("continuous"))
        .col(exact_null("expected_low"))
        .col(exact_null("expected_high"))
        .col(text("verdict"))
        .col(text("explanation"))
        .col(text_null("note"))
        .check(one_of(
            "quantity",
            &[
                "resistance",
                "insulation_resistance",
                "continuity",
                "voltage",
                "current",
                "power",
                "temperature",
                "pressure",
                "capacitance",
            ],
        ))
        .check(one_of(
            "verdict",
            &[
                "inside",
                "below",
                "above",
                "no_band",
                "may_be_parallel_path",
            ],
        ));
    table
}

/// What is wrong: component, failure mode, position, cause.
fn finding() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("finding")
        .col(id())
        .col(number("call_id"))
        .foreign_key(&mut reference("finding", "call_id", "service_call"))
        .col(number("component_id"))
        .foreign_key(&mut reference("finding", "component_id", "component"))
        .col(number("failure_mode_id"))
        .foreign_key(&mut reference("finding", "failure_mode_id", "failure_mode"))
        .col(text_null("position"))
        .col(text_null("cause"))
        .col(instant("found_at"))
        .col(number("found_by"))
        .foreign_key(&mut reference("finding", "found_by", "staff"))
        .col(text_null("note"));
    table
}

/// What was done about a finding.
fn remedy() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("remedy")
        .col(id())
        .col(number("finding_id"))
        .foreign_key(&mut reference("remedy", "finding_id", "finding"))
        .col(text("method"))
        .col(whole("labour_minutes"))
        .col(instant("done_at"))
        .col(number("done_by"))
        .foreign_key(&mut reference("remedy", "done_by", "staff"))
        .col(text_null("note"))
        .check(one_of(
            "method",
            &[
                "replaced",
                "re_terminated",
                "spliced",
                "cleaned",
                "adjusted",
                "tightened",
                "unblocked",
                "other",
                "none",
            ],
        ))
        .check(Expr::cust("labour_minutes >= 0"));
    table
}

/// A part fitted in a remedy, at the cost of that day.
fn part_used() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("part_used")
        .col(id())
        .col(number("remedy_id"))
        .foreign_key(&mut reference("part_used", "remedy_id", "remedy"))
        .col(number("part_id"))
        .foreign_key(&mut reference("part_used", "part_id", "part"))
        .col(exact("quantity"))
        .col(cents("unit_cost_cents"))
        .col(cents("cost_cents"));
    table
}
