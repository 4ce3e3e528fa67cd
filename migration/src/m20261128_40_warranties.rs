//! Payers of warranties, their programmes, what machines hold of them, and decisions who pays.

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
        create(manager, warranty_payer()).await?;
        create(manager, warranty_programme()).await?;
        create(manager, programme_terms()).await?;
        create(manager, appliance_cover()).await?;
        create(manager, appliance_use()).await?;
        create(manager, coverage_decision()).await?;
        create(manager, coverage_portion()).await?;
        create(manager, kept_part()).await?;
        let mut use_of_payer = Table::alter();
        use_of_payer
            .table("invoice")
            .add_column(number_null("warranty_payer_id"));
        manager.alter_table(use_of_payer).await?;
        let mut use_of_decision = Table::alter();
        use_of_decision
            .table("invoice_division")
            .add_column(number_null("coverage_decision_id"));
        manager.alter_table(use_of_decision).await?;
        let mut shop_share = Table::alter();
        let mut none = cents("shop_cents");
        none.default(0);
        shop_share.table("invoice_division").add_column(none);
        manager.alter_table(shop_share).await?;
        let connection = manager.get_connection();
        connection.execute_unprepared(SERIES).await?;
        indexes(manager).await
    }
}

/// A shop that is open already gets the series of its kept parts; a new one opens with it.
const SERIES: &str = "INSERT INTO number_series (series, prefix, next_number) \
     SELECT 'kept_part', 'KP-', 1 WHERE EXISTS (SELECT 1 FROM number_series)";

async fn indexes(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    unique(manager, "warranty_payer", &["customer_id"]).await?;
    unique(manager, "warranty_programme", &["payer_id", "name_key"]).await?;
    index(manager, "warranty_programme", &["make_key"]).await?;
    index(manager, "warranty_programme", &["appliance_type_id"]).await?;
    unique(
        manager,
        "programme_terms",
        &["programme_id", "applies_from"],
    )
    .await?;
    index(manager, "programme_terms", &["written_by"]).await?;
    index(manager, "appliance_cover", &["appliance_id"]).await?;
    index(
        manager,
        "appliance_cover",
        &["programme_id", "contract_number"],
    )
    .await?;
    index(manager, "appliance_cover", &["repair_call_id"]).await?;
    index(manager, "appliance_cover", &["component_id"]).await?;
    index(manager, "appliance_cover", &["registered_by"]).await?;
    unique(manager, "coverage_decision", &["standing_call_id"]).await?;
    index(manager, "coverage_decision", &["call_id", "id"]).await?;
    index(manager, "coverage_decision", &["estimate_option_id"]).await?;
    index(manager, "coverage_decision", &["decided_by"]).await?;
    index(manager, "coverage_portion", &["decision_id"]).await?;
    index(manager, "coverage_portion", &["payer_id"]).await?;
    index(manager, "coverage_portion", &["terms_id"]).await?;
    index(manager, "coverage_portion", &["cover_id"]).await?;
    unique(manager, "kept_part", &["number"]).await?;
    index(manager, "kept_part", &["call_id"]).await?;
    index(manager, "kept_part", &["part_id"]).await?;
    index(manager, "kept_part", &["kept_by"]).await?;
    index(
        manager,
        "kept_part",
        &["sent_on", "scrapped_on", "return_by"],
    )
    .await
}

/// Who pays for work under a warranty: a maker, a part's maker, a seller of service contracts.
fn warranty_payer() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("warranty_payer")
        .col(id())
        .col(number("customer_id"))
        .foreign_key(&mut reference("warranty_payer", "customer_id", "customer"))
        .col(text_null("claim_mail"))
        .col(yes_no("claim_days_move_on"))
        .col(yes_no("may_bill_rest"))
        .col(whole_null("days_to_pay"))
        .col(instant_null("retired_at"))
        .col(whole("version"));
    table
}

/// A payer's programme: on which machines, and in which order it is asked.
fn warranty_programme() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("warranty_programme")
        .col(id())
        .col(number("payer_id"))
        .foreign_key(&mut reference(
            "warranty_programme",
            "payer_id",
            "warranty_payer",
        ))
        .col(text("name"))
        .col(text("name_key"))
        .col(text("rank"))
        .col(text_null("make_key"))
        .col(number_null("appliance_type_id"))
        .foreign_key(&mut reference(
            "warranty_programme",
            "appliance_type_id",
            "appliance_type",
        ))
        .col(text_null("model_pattern"))
        .col(text_null("component_class"))
        .col(instant_null("retired_at"))
        .col(whole("version"))
        .check(one_of(
            "rank",
            &["part_maker", "appliance_maker", "service_contract"],
        ));
    table
}

/// The terms of a programme from a day on. They never change; new ones are written beside them.
fn programme_terms() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("programme_terms")
        .col(id())
        .col(number("programme_id"))
        .foreign_key(&mut reference(
            "programme_terms",
            "programme_id",
            "warranty_programme",
        ))
        .col(day("applies_from"))
        .col(yes_no("stays_with_machine"))
        .col(whole_null("days_to_file"))
        .col(text("terms_json"))
        .col(instant("written_at"))
        .col(number("written_by"))
        .foreign_key(&mut reference("programme_terms", "written_by", "staff"));
    table
}

/// A programme that one machine holds, or does not though its make would.
fn appliance_cover() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("appliance_cover")
        .col(id())
        .col(number("appliance_id"))
        .foreign_key(&mut reference(
            "appliance_cover",
            "appliance_id",
            "appliance",
        ))
        .col(number("programme_id"))
        .foreign_key(&mut reference(
            "appliance_cover",
            "programme_id",
            "warranty_programme",
        ))
        .col(yes_no("held"))
        .col(text_null("contract_number"))
        .col(day_null("begins_on"))
        .col(number_null("repair_call_id"))
        .foreign_key(&mut reference(
            "appliance_cover",
            "repair_call_id",
            "service_call",
        ))
        .col(number_null("component_id"))
        .foreign_key(&mut reference(
            "appliance_cover",
            "component_id",
            "component",
        ))
        .col(text_null("note"))
        .col(instant("registered_at"))
        .col(number("registered_by"))
        .foreign_key(&mut reference("appliance_cover", "registered_by", "staff"))
        .col(day_null("ended_on"))
        .col(text_null("ended_because"))
        .col(whole("version"));
    table
}

/// What coverage asks of a machine beside its plate.
fn appliance_use() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("appliance_use")
        .col(number("appliance_id").primary_key())
        .foreign_key(&mut reference("appliance_use", "appliance_id", "appliance"))
        .col(day_null("delivered_on"))
        .col(yes_no_null("in_business"))
        .col(whole("version"));
    table
}

/// Who pays what of a call, as decided on a day. It never changes; a later one stands in its place.
fn coverage_decision() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("coverage_decision")
        .col(id())
        .col(number("call_id"))
        .foreign_key(&mut reference(
            "coverage_decision",
            "call_id",
            "service_call",
        ))
        .col(number_null("estimate_option_id"))
        .foreign_key(&mut reference(
            "coverage_decision",
            "estimate_option_id",
            "estimate_option",
        ))
        .col(day("failed_on"))
        .col(text("case_json"))
        .col(text("lines_json"))
        .col(text("holdings_json"))
        .col(text("decision_json"))
        .col(cents("total_cents"))
        .col(cents("customer_cents"))
        .col(cents("at_most_cents"))
        .col(yes_no("is_sure"))
        .col(number_null("standing_call_id"))
        .foreign_key(&mut reference(
            "coverage_decision",
            "standing_call_id",
            "service_call",
        ))
        .col(instant("decided_at"))
        .col(number("decided_by"))
        .foreign_key(&mut reference("coverage_decision", "decided_by", "staff"))
        .check(Expr::cust("total_cents >= 0"))
        .check(Expr::cust("customer_cents >= 0"))
        .check(Expr::cust("at_most_cents >= customer_cents"));
    table
}

/// What somebody other than the customer pays of a line.
fn coverage_portion() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("coverage_portion")
        .col(id())
        .col(number("decision_id"))
        .foreign_key(&mut reference(
            "coverage_portion",
            "decision_id",
            "coverage_decision",
        ))
        .col(whole("position"))
        .col(number_null("payer_id"))
        .foreign_key(&mut reference(
            "coverage_portion",
            "payer_id",
            "warranty_payer",
        ))
        .col(number_null("terms_id"))
        .foreign_key(&mut reference(
            "coverage_portion",
            "terms_id",
            "programme_terms",
        ))
        .col(number_null("cover_id"))
        .foreign_key(&mut reference(
            "coverage_portion",
            "cover_id",
            "appliance_cover",
        ))
        .col(cents("cents"))
        .check(Expr::cust("cents > 0"))
        .check(Expr::cust("position > 0"));
    table
}

/// A part taken out and kept for a payer, under a tag.
fn kept_part() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("kept_part")
        .col(id())
        .col(text("number"))
        .col(number("call_id"))
        .foreign_key(&mut reference("kept_part", "call_id", "service_call"))
        .col(number_null("part_id"))
        .foreign_key(&mut reference("kept_part", "part_id", "part"))
        .col(text("description"))
        .col(instant("kept_at"))
        .col(number("kept_by"))
        .foreign_key(&mut reference("kept_part", "kept_by", "staff"))
        .col(day_null("return_by"))
        .col(day_null("sent_on"))
        .col(text_null("sent_how"))
        .col(day_null("scrapped_on"))
        .col(whole("version"));
    table
}
