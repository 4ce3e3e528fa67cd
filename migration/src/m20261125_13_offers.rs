//! Offers as the office works with them: sections, deposits, notes, templates of common repairs, expected lives, answers
//! that did not come by link, reminders, and mail that nobody needs any more.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::DatabaseBackend;

use crate::columns::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

const MAIL_KINDS: [&str; 5] = ["estimate", "reminder", "confirmation", "invoice", "notice"];
const MAIL_STATES: [&str; 6] = ["queued", "sending", "waiting", "sent", "failed", "dropped"];

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        add_columns(manager).await?;
        create(manager, estimate_reminder()).await?;
        create(manager, expected_life()).await?;
        create(manager, repair_template()).await?;
        create(manager, repair_template_line()).await?;
        index(manager, "estimate_revision", &["state", "next_reminder_on"]).await?;
        index(manager, "estimate_revision", &["answer_received_by"]).await?;
        unique(manager, "estimate_reminder", &["revision_id", "kind"]).await?;
        unique(manager, "expected_life", &["appliance_type_id", "fuel"]).await?;
        index(manager, "repair_template", &["appliance_type_id"]).await?;
        index(manager, "repair_template", &["component_id"]).await?;
        index(manager, "repair_template", &["failure_mode_id"]).await?;
        index(manager, "repair_template_line", &["part_id"]).await?;
        unique(
            manager,
            "repair_template_line",
            &["template_id", "position"],
        )
        .await?;
        more_kinds_of_mail(manager).await
    }
}

async fn add_columns(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let add = async |table: &'static str, column: ColumnDef| {
        let mut change = Table::alter();
        change.table(table).add_column(column);
        manager.alter_table(change).await
    };
    add("shop", with_default(whole("reminder_first_days"), 3)).await?;
    add("shop", with_default(whole("reminder_second_days"), 10)).await?;
    add("shop", with_default(yes_no("reminder_last_day"), true)).await?;
    add("estimate", instant_null("reminders_stopped_at")).await?;
    add("estimate_revision", text_null("offer_json")).await?;
    add(
        "estimate_revision",
        with_default(yes_no("weighs_replacement"), false),
    )
    .await?;
    add("estimate_revision", cents_null("replacement_price_cents")).await?;
    add("estimate_revision", word("delivery", &["mail", "hand"])).await?;
    add("estimate_revision", day_null("next_reminder_on")).await?;
    let ways = ["link", "telephone", "signature", "in_person"];
    add("estimate_revision", word("answered_by", &ways)).await?;
    add("estimate_revision", text_null("answered_phone")).await?;
    add("estimate_revision", text_null("answer_note")).await?;
    add("estimate_option", text_null("notes")).await?;
    add("estimate_option", exact_null("deposit_percent")).await?;
    add("estimate_option", cents_null("deposit_cents")).await?;
    add("estimate_line", text_null("section")).await?;
    // The builder cannot add a column that points elsewhere; both databases can.
    let received_by = "ALTER TABLE estimate_revision ADD COLUMN answer_received_by bigint \
        REFERENCES staff (id) ON DELETE RESTRICT";
    manager
        .get_connection()
        .execute_unprepared(received_by)
        .await?;
    Ok(())
}

pub fn with_default(mut column: ColumnDef, value: impl Into<Expr>) -> ColumnDef {
    column.default(value);
    column
}

/// A text that is empty or one of these words.
fn word(name: &'static str, words: &[&'static str]) -> ColumnDef {
    let mut column = text_null(name);
    column.check(one_of(name, words));
    column
}

/// A reminder that was asked for: each kind once for a revision.
fn estimate_reminder() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("estimate_reminder")
        .col(id())
        .col(number("revision_id"))
        .foreign_key(&mut reference(
            "estimate_reminder",
            "revision_id",
            "estimate_revision",
        ))
        .col(text("kind"))
        .col(instant("asked_at"))
        .check(one_of("kind", &["first", "second", "last_day"]));
    table
}

/// How many years a type of machine usually lasts, and who says so.
fn expected_life() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("expected_life")
        .col(id())
        .col(number("appliance_type_id"))
        .foreign_key(&mut reference(
            "expected_life",
            "appliance_type_id",
            "appliance_type",
        ))
        .col(text("fuel"))
        .col(whole("years"))
        .col(text("source"))
        .col(text_null("caution"))
        .col(whole("version"))
        .check(one_of("fuel", &["any", "electric", "gas"]))
        .check(Expr::cust("years > 0"));
    table
}

/// A common repair, ready to be offered.
fn repair_template() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("repair_template")
        .col(id())
        .col(text("name"))
        .col(number("appliance_type_id"))
        .foreign_key(&mut reference(
            "repair_template",
            "appliance_type_id",
            "appliance_type",
        ))
        .col(number_null("component_id"))
        .foreign_key(&mut reference(
            "repair_template",
            "component_id",
            "component",
        ))
        .col(number_null("failure_mode_id"))
        .foreign_key(&mut reference(
            "repair_template",
            "failure_mode_id",
            "failure_mode",
        ))
        .col(text("title"))
        .col(text_null("summary"))
        .col(text_null("notes"))
        .col(text_null("found_text"))
        .col(exact_null("deposit_percent"))
        .col(instant("created_at"))
        .col(instant_null("retired_at"))
        .col(whole("version"));
    table
}

/// One charge of a template.
fn repair_template_line() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("repair_template_line")
        .col(id())
        .col(number("template_id"))
        .foreign_key(&mut reference(
            "repair_template_line",
            "template_id",
            "repair_template",
        ))
        .col(whole("position"))
        .col(text("kind"))
        .col(text_null("section"))
        .col(text_null("description"))
        .col(number_null("part_id"))
        .foreign_key(&mut reference("repair_template_line", "part_id", "part"))
        .col(text_null("task_key"))
        .col(exact_null("quantity"))
        .col(whole_null("minutes"))
        .col(cents_null("unit_price_cents"))
        .check(one_of(
            "kind",
            &["part", "labour", "trip", "diagnostic", "freight", "fee"],
        ));
    table
}

/// Mail may now be a reminder or a confirmation, and may be dropped because what it would say is over.
async fn more_kinds_of_mail(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let connection = manager.get_connection();
    if manager.get_database_backend() == DatabaseBackend::Sqlite {
        return rebuild_outbox(manager).await;
    }
    for (column, words) in [("kind", &MAIL_KINDS[..]), ("state", &MAIL_STATES[..])] {
        let words = words.join("', '");
        let name = format!("outbox_mail_{column}_check");
        connection
            .execute_unprepared(&format!(
                "ALTER TABLE outbox_mail DROP CONSTRAINT {name}, \
                 ADD CONSTRAINT {name} CHECK ({column} IN ('{words}'))"
            ))
            .await?;
    }
    Ok(())
}

/// `SQLite` keeps a table's checks for ever, so the rows move into a new one; nothing points at them.
async fn rebuild_outbox(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let connection = manager.get_connection();
    connection
        .execute_unprepared("ALTER TABLE outbox_mail RENAME TO outbox_mail_before")
        .await?;
    create(manager, outbox_mail()).await?;
    let columns = "id, message_id, kind, payload_json, to_email, to_name, subject_kind, subject_id, state, \
        attempts, next_try_at, give_up_at, claimed_until, last_error, created_at, sent_at";
    connection
        .execute_unprepared(&format!(
            "INSERT INTO outbox_mail ({columns}) SELECT {columns} FROM outbox_mail_before"
        ))
        .await?;
    connection
        .execute_unprepared("DROP TABLE outbox_mail_before")
        .await?;
    index(manager, "outbox_mail", &["state", "next_try_at"]).await?;
    index(manager, "outbox_mail", &["subject_kind", "subject_id"]).await?;
    unique(manager, "outbox_mail", &["message_id"]).await
}

/// As it was first made, with the wider lists.
fn outbox_mail() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("outbox_mail")
        .col(id())
        .col(text("message_id"))
        .col(text("kind"))
        .col(text("payload_json"))
        .col(text("to_email"))
        .col(text("to_name"))
        .col(text("subject_kind"))
        .col(number("subject_id"))
        .col(text("state"))
        .col(whole("attempts"))
        .col(instant("next_try_at"))
        .col(instant("give_up_at"))
        .col(instant_null("claimed_until"))
        .col(text_null("last_error"))
        .col(instant("created_at"))
        .col(instant_null("sent_at"))
        .check(one_of("kind", &MAIL_KINDS))
        .check(one_of("state", &MAIL_STATES))
        .check(Expr::cust("attempts >= 0"));
    table
}
