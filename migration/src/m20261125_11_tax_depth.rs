//! Tax in full depth: dated rules with conditions, dated levels and methods, whole certificates, the facts of what
//! is offered, published rate tables, and which jurisdictions a postal code may lie in.

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
        rules(manager).await?;
        levels(manager).await?;
        certificates(manager).await?;
        offers(manager).await?;
        create(manager, tax_method()).await?;
        unique(manager, "tax_method", &["tax_jurisdiction_id", "from_on"]).await?;
        create(manager, tax_rate()).await?;
        unique(
            manager,
            "tax_rate",
            &[
                "state_code",
                "jurisdiction_type",
                "jurisdiction_code",
                "begins_on",
            ],
        )
        .await?;
        create(manager, postal_jurisdiction()).await?;
        unique(
            manager,
            "postal_jurisdiction",
            &["postal_code", "tax_jurisdiction_id"],
        )
        .await?;
        add(
            manager,
            "service_address",
            text_null("jurisdictions_proposed"),
        )
        .await
    }
}

/// A yes or no answer becomes the last of an ordered list of rules.
async fn rules(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let table = "taxability";
    add(manager, table, with(whole("position"), 1)).await?;
    add(manager, table, with(text("treatment"), "taxed")).await?;
    add(manager, table, with(text("when_json"), "{}")).await?;
    add(manager, table, day_null("from_on")).await?;
    add(manager, table, day_null("until_on")).await?;
    add(manager, table, with(yes_no("parts_apart"), false)).await?;
    let untaxed = Query::update()
        .table(table)
        .value("treatment", "not_taxed")
        .and_where(Expr::col("taxable").eq(false))
        .to_owned();
    manager.execute(untaxed).await?;
    let mut one_rule = Index::drop();
    one_rule
        .name("ux_taxability_tax_jurisdiction_id_charge_kind")
        .table(table);
    manager.drop_index(one_rule).await?;
    let mut answer = Table::alter();
    answer.table(table).drop_column("taxable");
    manager.alter_table(answer).await?;
    unique(
        manager,
        table,
        &["tax_jurisdiction_id", "charge_kind", "position"],
    )
    .await
}

async fn levels(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let jurisdiction = "tax_jurisdiction";
    add(manager, jurisdiction, with(text("prices"), "before_tax")).await?;
    add(manager, jurisdiction, exact_null("local_ceiling_percent")).await?;
    let level = "tax_level";
    add(manager, level, day_null("from_on")).await?;
    add(manager, level, day_null("until_on")).await?;
    add(manager, level, with(text("exempts_json"), "[]")).await?;
    add(manager, level, text_null("rate_code")).await?;
    index(manager, level, &["rate_code"]).await
}

/// What was recorded before lacks what a certificate must hold, and counts as claimed until it is completed.
async fn certificates(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let table = "tax_exemption";
    for field in ["buyer_name", "business_address", "tax_id", "business_type"] {
        add(manager, table, text_null(field)).await?;
    }
    add(manager, table, day_null("received_on")).await?;
    add(manager, table, with(text("purchases"), "blanket")).await?;
    add(manager, table, day_null("last_purchase_on")).await?;
    add(manager, table, with(whole("version"), 1)).await?;
    index(manager, table, &["valid_until"]).await
}

async fn offers(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let option = "estimate_option";
    add(manager, option, with(text("stated_as"), "separately")).await?;
    add(manager, option, with(text("outcome"), "repaired")).await?;
    add(manager, option, text_null("material_evidence")).await?;
    add(manager, option, text_null("disaster_reason")).await?;
    add(manager, option, with(yes_no("parts_to_be_stated"), false)).await?;
    add(manager, option, with(text("prices"), "before_tax")).await?;
    add(manager, option, number_null("tax_exemption_id")).await?;
    let line = "estimate_line";
    add(manager, line, text_null("trip_serves")).await?;
    add(manager, line, text_null("delivered_by")).await?;
    add(manager, line, cents_null("delivery_cost_cents")).await?;
    add(manager, line, with(yes_no("delivery_divided"), false)).await?;
    add(manager, line, with(yes_no("under_warranty"), false)).await?;
    add(manager, line, cents_null("shown_net_cents")).await?;
    add(manager, line, cents_null("shown_discount_cents")).await
}

/// From which day a jurisdiction rounds by rule or by a bracket table.
fn tax_method() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("tax_method")
        .col(id())
        .col(number("tax_jurisdiction_id"))
        .foreign_key(&mut reference(
            "tax_method",
            "tax_jurisdiction_id",
            "tax_jurisdiction",
        ))
        .col(day("from_on"))
        .col(text_null("brackets_json"));
    table
}

/// One row of a published rate table.
fn tax_rate() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("tax_rate")
        .col(id())
        .col(text("state_code"))
        .col(text("jurisdiction_type"))
        .col(text("jurisdiction_code"))
        .col(exact("intrastate_percent"))
        .col(exact("interstate_percent"))
        .col(day("begins_on"))
        .col(day_null("ends_on"))
        .col(instant("imported_at"));
    table
}

/// Which jurisdictions a postal code may lie in; a person confirms one for each address.
fn postal_jurisdiction() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("postal_jurisdiction")
        .col(id())
        .col(text("postal_code"))
        .col(number("tax_jurisdiction_id"))
        .foreign_key(&mut reference(
            "postal_jurisdiction",
            "tax_jurisdiction_id",
            "tax_jurisdiction",
        ));
    table
}

/// Adds one column: `SQLite` takes one at a time, and a required one only with a value for the rows there are.
async fn add(
    manager: &SchemaManager<'_>,
    table: &'static str,
    column: ColumnDef,
) -> Result<(), DbErr> {
    let mut change = Table::alter();
    change.table(table).add_column(column);
    manager.alter_table(change).await
}

fn with(mut column: ColumnDef, value: impl Into<Value>) -> ColumnDef {
    column.default(value.into());
    column
}
