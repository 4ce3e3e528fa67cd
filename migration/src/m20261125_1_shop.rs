//! The shop, its people, and what every act leaves behind.

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
        create(manager, shop()).await?;
        create(manager, staff()).await?;
        create(manager, session()).await?;
        create(manager, audit_entry()).await?;
        create(manager, idempotency_key()).await?;
        create(manager, number_series()).await?;
        create(manager, outbox_mail()).await?;
        unique(manager, "staff", &["email"]).await?;
        index(manager, "session", &["staff_id"]).await?;
        unique(manager, "session", &["token_hash"]).await?;
        index(manager, "audit_entry", &["staff_id"]).await?;
        index(manager, "audit_entry", &["subject_kind", "subject_id"]).await?;
        unique(manager, "idempotency_key", &["actor", "key"]).await?;
        index(manager, "outbox_mail", &["state", "next_try_at"]).await?;
        index(manager, "outbox_mail", &["subject_kind", "subject_id"]).await?;
        unique(manager, "outbox_mail", &["message_id"]).await?;
        Ok(())
    }
}

/// The one row of shop settings.
fn shop() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("shop")
        .col(id())
        .col(text("name"))
        .col(text("phone_e164"))
        .col(text("email"))
        .col(text("line1"))
        .col(text_null("line2"))
        .col(text("city"))
        .col(text("region"))
        .col(text("postal_code"))
        .col(text("country"))
        .col(text_null("licence"))
        .col(text("currency"))
        .col(text("time_zone"))
        .col(whole("callback_window_days"))
        .col(whole("labour_warranty_days"))
        .col(whole("parts_warranty_months"))
        .col(whole("estimate_valid_days"))
        .col(whole("payment_terms_days"))
        .col(exact("consent_percent"))
        .col(yes_no("consent_limit_inside"))
        .col(exact("reading_tolerance_percent"))
        .col(day_null("books_closed_through"))
        .col(whole("version"))
        .check(Expr::cust("id = 1"))
        .check(Expr::cust("callback_window_days BETWEEN 1 AND 3650"))
        .check(Expr::cust("labour_warranty_days >= 0"))
        .check(Expr::cust("parts_warranty_months >= 0"))
        .check(Expr::cust("estimate_valid_days >= 1"))
        .check(Expr::cust("payment_terms_days >= 0"));
    table
}

/// People who work here.
fn staff() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("staff")
        .col(id())
        .col(text("name"))
        .col(text("email"))
        .col(text("role"))
        .col(text("password_hash"))
        .col(instant("created_at"))
        .col(instant_null("left_at"))
        .col(whole("version"))
        .check(one_of("role", &["owner", "office", "technician"]));
    table
}

/// A signed-in device. Only the hash of its token is kept.
fn session() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("session")
        .col(id())
        .col(number("staff_id"))
        .foreign_key(&mut reference("session", "staff_id", "staff"))
        .col(text("token_hash"))
        .col(instant("created_at"))
        .col(instant("last_seen_at"))
        .col(instant("expires_at"))
        .col(instant_null("ended_at"));
    table
}

/// Who changed what, when, from what to what.
fn audit_entry() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("audit_entry")
        .col(id())
        .col(instant("at"))
        .col(number_null("staff_id"))
        .foreign_key(&mut reference("audit_entry", "staff_id", "staff"))
        .col(text("actor"))
        .col(text("act"))
        .col(text("subject_kind"))
        .col(number("subject_id"))
        .col(text_null("before_json"))
        .col(text_null("after_json"));
    table
}

/// One effect for one key: the receipt of an act, written with its effect.
fn idempotency_key() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("idempotency_key")
        .col(id())
        .col(text("actor"))
        .col(text("key"))
        .col(text("act"))
        .col(text("request_hash"))
        .col(text("receipt_json"))
        .col(instant("created_at"));
    table
}

/// The next number of each gapless series, taken inside the transaction that uses it.
fn number_series() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("number_series")
        .col(text("series").primary_key())
        .col(text("prefix"))
        .col(number("next_number"))
        .check(Expr::cust("next_number >= 1"));
    table
}

/// A mail that was asked for, written with the act that asked.
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
        .check(one_of("kind", &["estimate", "invoice", "notice"]))
        .check(one_of(
            "state",
            &["queued", "sending", "waiting", "sent", "failed"],
        ))
        .check(Expr::cust("attempts >= 0"));
    table
}
