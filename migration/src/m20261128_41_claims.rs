//! Claims on warranty payers, their papers and steps, and the advices by which payers settle them.

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
        create(manager, claim()).await?;
        create(manager, claim_step()).await?;
        create(manager, claim_paper()).await?;
        create(manager, failure_code()).await?;
        create(manager, advice_layout()).await?;
        create(manager, payer_advice()).await?;
        create(manager, advice_row()).await?;
        let connection = manager.get_connection();
        connection.execute_unprepared(SERIES).await?;
        indexes(manager).await
    }
}

/// A shop that is open already gets the series of its claims; a new one opens with it.
const SERIES: &str = "INSERT INTO number_series (series, prefix, next_number) \
     SELECT 'claim', 'CL-', 1 WHERE EXISTS (SELECT 1 FROM number_series)";

async fn indexes(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    unique(manager, "claim", &["number"]).await?;
    unique(manager, "claim", &["call_id", "programme_id"]).await?;
    unique(manager, "claim", &["invoice_id"]).await?;
    index(manager, "claim", &["payer_id", "state"]).await?;
    index(manager, "claim", &["state", "file_by"]).await?;
    index(manager, "claim", &["terms_id"]).await?;
    index(manager, "claim", &["programme_id"]).await?;
    index(manager, "claim", &["cover_id"]).await?;
    index(manager, "claim", &["decision_id"]).await?;
    index(manager, "claim", &["drafted_by"]).await?;
    index(manager, "claim_step", &["claim_id", "id"]).await?;
    index(manager, "claim_step", &["taken_by"]).await?;
    index(manager, "claim_paper", &["claim_id"]).await?;
    index(manager, "claim_paper", &["attachment_id"]).await?;
    index(manager, "claim_paper", &["kept_part_id"]).await?;
    index(manager, "claim_paper", &["added_by"]).await?;
    index(
        manager,
        "failure_code",
        &["component_id", "failure_mode_id"],
    )
    .await?;
    index(manager, "failure_code", &["failure_mode_id"]).await?;
    index(manager, "failure_code", &["changed_by"]).await?;
    index(manager, "advice_layout", &["changed_by"]).await?;
    unique(manager, "payer_advice", &["payer_id", "sha256"]).await?;
    index(manager, "payer_advice", &["payment_id"]).await?;
    index(manager, "payer_advice", &["imported_by"]).await?;
    index(manager, "payer_advice", &["posted_by"]).await?;
    index(manager, "advice_row", &["advice_id", "position"]).await?;
    index(manager, "advice_row", &["claim_id"]).await?;
    index(manager, "advice_row", &["settled_at", "set_aside_because"]).await
}

/// What the shop asks of a warranty payer for one call under one programme.
fn claim() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("claim")
        .col(id())
        .col(text("number"))
        .col(number("call_id"))
        .foreign_key(&mut reference("claim", "call_id", "service_call"))
        .col(number("payer_id"))
        .foreign_key(&mut reference("claim", "payer_id", "warranty_payer"))
        .col(number("terms_id"))
        .foreign_key(&mut reference("claim", "terms_id", "programme_terms"))
        .col(number("programme_id"))
        .foreign_key(&mut reference(
            "claim",
            "programme_id",
            "warranty_programme",
        ))
        .col(number_null("cover_id"))
        .foreign_key(&mut reference("claim", "cover_id", "appliance_cover"))
        .col(number("decision_id"))
        .foreign_key(&mut reference("claim", "decision_id", "coverage_decision"))
        .col(number("invoice_id"))
        .foreign_key(&mut reference("claim", "invoice_id", "invoice"))
        .col(text("state"))
        .col(cents("claimed_cents"))
        .col(day_null("file_by"))
        .col(day_null("submitted_on"))
        .col(text_null("payer_reference"))
        .col(text("complaint"))
        .col(text("diagnosis"))
        .col(text_null("codes_json"))
        .col(instant("drafted_at"))
        .col(number("drafted_by"))
        .foreign_key(&mut reference("claim", "drafted_by", "staff"))
        .col(whole("version"))
        .check(one_of(
            "state",
            &[
                "draft",
                "ready",
                "submitted",
                "queried",
                "approved",
                "part_approved",
                "denied",
                "paid",
                "appealed",
                "closed",
            ],
        ))
        .check(Expr::cust("claimed_cents > 0"));
    table
}

/// What happened to a claim, in order. It never changes.
fn claim_step() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("claim_step")
        .col(id())
        .col(number("claim_id"))
        .foreign_key(&mut reference("claim_step", "claim_id", "claim"))
        .col(text("step"))
        .col(text("state"))
        .col(day("taken_on"))
        .col(text_null("note"))
        .col(text_null("reason_code"))
        .col(text_null("reason_release"))
        .col(cents_null("cents"))
        .col(instant("taken_at"))
        .col(number_null("taken_by"))
        .foreign_key(&mut reference("claim_step", "taken_by", "staff"))
        .check(one_of(
            "step",
            &[
                "drafted",
                "make_ready",
                "reopen",
                "submit",
                "query",
                "approve",
                "approve_part",
                "deny",
                "pay",
                "appeal",
                "close",
            ],
        ))
        .check(one_of(
            "state",
            &[
                "draft",
                "ready",
                "submitted",
                "queried",
                "approved",
                "part_approved",
                "denied",
                "paid",
                "appealed",
                "closed",
            ],
        ));
    table
}

/// A picture, paper or kept part that goes with a claim.
fn claim_paper() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("claim_paper")
        .col(id())
        .col(number("claim_id"))
        .foreign_key(&mut reference("claim_paper", "claim_id", "claim"))
        .col(text("evidence"))
        .col(number_null("attachment_id"))
        .foreign_key(&mut reference("claim_paper", "attachment_id", "attachment"))
        .col(number_null("kept_part_id"))
        .foreign_key(&mut reference("claim_paper", "kept_part_id", "kept_part"))
        .col(text_null("note"))
        .col(instant("added_at"))
        .col(number("added_by"))
        .foreign_key(&mut reference("claim_paper", "added_by", "staff"))
        .check(one_of(
            "evidence",
            &[
                "proof_of_purchase",
                "plate_picture",
                "fault_picture",
                "old_part",
                "customer_signature",
                "contract_number",
            ],
        ));
    table
}

/// What the shop's own component and failure are called in an industry scheme.
fn failure_code() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("failure_code")
        .col(id())
        .col(number_null("component_id"))
        .foreign_key(&mut reference("failure_code", "component_id", "component"))
        .col(number("failure_mode_id"))
        .foreign_key(&mut reference(
            "failure_code",
            "failure_mode_id",
            "failure_mode",
        ))
        .col(text("codes_json"))
        .col(instant("changed_at"))
        .col(number("changed_by"))
        .foreign_key(&mut reference("failure_code", "changed_by", "staff"))
        .col(whole("version"));
    table
}

/// How a payer's advice reads as CSV.
fn advice_layout() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("advice_layout")
        .col(number("payer_id").primary_key())
        .foreign_key(&mut reference(
            "advice_layout",
            "payer_id",
            "warranty_payer",
        ))
        .col(text("delimiter"))
        .col(yes_no("has_header"))
        .col(text("encoding"))
        .col(text("date_order"))
        .col(text("decimal_sign"))
        .col(text("columns_json"))
        .col(instant("changed_at"))
        .col(number("changed_by"))
        .foreign_key(&mut reference("advice_layout", "changed_by", "staff"))
        .col(whole("version"));
    table
}

/// A payer's advice of what it pays.
fn payer_advice() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("payer_advice")
        .col(id())
        .col(number("payer_id"))
        .foreign_key(&mut reference("payer_advice", "payer_id", "warranty_payer"))
        .col(text("reference"))
        .col(day("advised_on"))
        .col(text("sha256"))
        .col(whole("rows"))
        .col(cents("total_cents"))
        .col(number_null("payment_id"))
        .foreign_key(&mut reference("payer_advice", "payment_id", "payment"))
        .col(instant("imported_at"))
        .col(number("imported_by"))
        .foreign_key(&mut reference("payer_advice", "imported_by", "staff"))
        .col(instant_null("posted_at"))
        .col(number_null("posted_by"))
        .foreign_key(&mut reference("payer_advice", "posted_by", "staff"))
        .col(instant_null("dropped_at"));
    table
}

/// One line of an advice.
fn advice_row() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("advice_row")
        .col(id())
        .col(number("advice_id"))
        .foreign_key(&mut reference("advice_row", "advice_id", "payer_advice"))
        .col(whole("position"))
        .col(text("claim_text"))
        .col(number_null("claim_id"))
        .foreign_key(&mut reference("advice_row", "claim_id", "claim"))
        .col(cents("paid_cents"))
        .col(cents_null("refused_cents"))
        .col(text_null("reason_code"))
        .col(text_null("note"))
        .col(instant_null("settled_at"))
        .col(text_null("set_aside_because"))
        .check(Expr::cust("paid_cents >= 0"));
    table
}
