//! The shop's warranty, callbacks and flags.

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
        create(manager, shop_warranty()).await?;
        create(manager, callback()).await?;
        create(manager, flag()).await?;
        create(manager, flag_evidence()).await?;
        create(manager, flag_step()).await?;
        create(manager, repair_tally()).await?;
        create(manager, check_advice()).await?;
        index(manager, "shop_warranty", &["appliance_id"]).await?;
        index(manager, "shop_warranty", &["component_id"]).await?;
        unique(manager, "shop_warranty", &["call_id", "component_id"]).await?;
        index(manager, "callback", &["earlier_call_id"]).await?;
        index(manager, "callback", &["decided_by"]).await?;
        unique(manager, "callback", &["call_id"]).await?;
        unique(manager, "callback", &["counted_call_id"]).await?;
        index(manager, "flag", &["component_id"]).await?;
        index(manager, "flag", &["failure_mode_id"]).await?;
        index(manager, "flag", &["finding_id"]).await?;
        index(manager, "flag", &["appliance_id", "state"]).await?;
        unique(
            manager,
            "flag",
            &["call_id", "component_id", "failure_mode_id"],
        )
        .await?;
        index(manager, "flag_evidence", &["call_id"]).await?;
        index(manager, "flag_evidence", &["finding_id"]).await?;
        unique(manager, "flag_evidence", &["flag_id", "finding_id"]).await?;
        index(manager, "flag_step", &["flag_id"]).await?;
        index(manager, "flag_step", &["staff_id"]).await?;
        index(manager, "repair_tally", &["failure_mode_id"]).await?;
        unique(
            manager,
            "repair_tally",
            &["component_id", "failure_mode_id"],
        )
        .await?;
        unique(
            manager,
            "check_advice",
            &["failure_mode_id", "component_class", "position"],
        )
        .await?;
        Ok(())
    }
}

/// The shop's own promise on a repaired component.
fn shop_warranty() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("shop_warranty")
        .col(id())
        .col(number("call_id"))
        .foreign_key(&mut reference("shop_warranty", "call_id", "service_call"))
        .col(number("appliance_id"))
        .foreign_key(&mut reference("shop_warranty", "appliance_id", "appliance"))
        .col(number("component_id"))
        .foreign_key(&mut reference("shop_warranty", "component_id", "component"))
        .col(day("written_on"))
        .col(day_null("labour_through"))
        .col(day_null("parts_through"));
    table
}

/// A new call proposed, confirmed or rejected as the return of an earlier one.
fn callback() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("callback")
        .col(id())
        .col(number("call_id"))
        .foreign_key(&mut reference("callback", "call_id", "service_call"))
        .col(number("earlier_call_id"))
        .foreign_key(&mut reference(
            "callback",
            "earlier_call_id",
            "service_call",
        ))
        .col(whole("age_days"))
        .col(text("state"))
        .col(text_null("class"))
        .col(text_null("suggested_class"))
        .col(number_null("decided_by"))
        .foreign_key(&mut reference("callback", "decided_by", "staff"))
        .col(instant_null("decided_at"))
        .col(text_null("note"))
        .col(number_null("counted_call_id"))
        .foreign_key(&mut reference(
            "callback",
            "counted_call_id",
            "service_call",
        ))
        .check(one_of("state", &["proposed", "confirmed", "rejected"]))
        .check(one_of("class", &CLASSES))
        .check(one_of("suggested_class", &CLASSES));
    table
}

/// Why a machine came back.
const CLASSES: [&str; 5] = [
    "same_failure",
    "related",
    "unrelated",
    "use",
    "no_fault_found",
];

/// A repeat failure on one appliance.
fn flag() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("flag")
        .col(id())
        .col(number("call_id"))
        .foreign_key(&mut reference("flag", "call_id", "service_call"))
        .col(number("appliance_id"))
        .foreign_key(&mut reference("flag", "appliance_id", "appliance"))
        .col(number("component_id"))
        .foreign_key(&mut reference("flag", "component_id", "component"))
        .col(number("failure_mode_id"))
        .foreign_key(&mut reference("flag", "failure_mode_id", "failure_mode"))
        .col(number("finding_id"))
        .foreign_key(&mut reference("flag", "finding_id", "finding"))
        .col(text("level"))
        .col(text("state"))
        .col(text("reason"))
        .col(number("base_repairs"))
        .col(number("base_returned"))
        .col(text("next_checks_json"))
        .col(text("cautions_json"))
        .col(instant("raised_at"))
        .col(whole("version"))
        .check(one_of("level", &["watch", "act"]))
        .check(one_of(
            "state",
            &["open", "acknowledged", "answered", "closed"],
        ));
    table
}

/// The earlier repairs a flag rests on.
fn flag_evidence() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("flag_evidence")
        .col(id())
        .col(number("flag_id"))
        .foreign_key(&mut reference("flag_evidence", "flag_id", "flag"))
        .col(number("call_id"))
        .foreign_key(&mut reference("flag_evidence", "call_id", "service_call"))
        .col(number("finding_id"))
        .foreign_key(&mut reference("flag_evidence", "finding_id", "finding"))
        .col(day("completed_on"))
        .col(whole("days_before"))
        .col(text_null("method"))
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
        ));
    table
}

/// Who moved a flag along, and the note.
fn flag_step() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("flag_step")
        .col(id())
        .col(number("flag_id"))
        .foreign_key(&mut reference("flag_step", "flag_id", "flag"))
        .col(instant("at"))
        .col(number("staff_id"))
        .foreign_key(&mut reference("flag_step", "staff_id", "staff"))
        .col(text("state"))
        .col(text("note"))
        .check(one_of(
            "state",
            &["open", "acknowledged", "answered", "closed"],
        ));
    table
}

/// How often a kind of repair was done and came back, kept up as calls complete.
fn repair_tally() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("repair_tally")
        .col(id())
        .col(number("component_id"))
        .foreign_key(&mut reference("repair_tally", "component_id", "component"))
        .col(number("failure_mode_id"))
        .foreign_key(&mut reference(
            "repair_tally",
            "failure_mode_id",
            "failure_mode",
        ))
        .col(number("repairs"))
        .col(number("returned"))
        .check(Expr::cust("repairs >= 0"))
        .check(Expr::cust("returned >= 0"))
        .check(Expr::cust("returned <= repairs"));
    table
}

/// What to look at next time a failure returns, in the shop's words.
fn check_advice() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("check_advice")
        .col(id())
        .col(number("failure_mode_id"))
        .foreign_key(&mut reference(
            "check_advice",
            "failure_mode_id",
            "failure_mode",
        ))
        .col(text("component_class"))
        .col(whole("position"))
        .col(text("text"))
        .col(text_null("caution_key"));
    table
}
