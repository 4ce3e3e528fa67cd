//! Estimates and the customer's link.

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
        create(manager, estimate()).await?;
        create(manager, estimate_revision()).await?;
        create(manager, estimate_option()).await?;
        create(manager, estimate_line()).await?;
        create(manager, estimate_tax()).await?;
        create(manager, estimate_link()).await?;
        index(manager, "estimate", &["call_id"]).await?;
        index(manager, "estimate", &["created_by"]).await?;
        unique(manager, "estimate", &["number"]).await?;
        index(manager, "estimate_revision", &["price_book_id"]).await?;
        index(manager, "estimate_revision", &["tax_jurisdiction_id"]).await?;
        index(manager, "estimate_revision", &["state", "valid_until"]).await?;
        unique(manager, "estimate_revision", &["estimate_id", "revision"]).await?;
        unique(manager, "estimate_revision", &["accepted_call_id"]).await?;
        unique(manager, "estimate_option", &["revision_id", "position"]).await?;
        index(manager, "estimate_line", &["part_id"]).await?;
        unique(manager, "estimate_line", &["option_id", "position"]).await?;
        index(manager, "estimate_tax", &["tax_level_id"]).await?;
        unique(manager, "estimate_tax", &["option_id", "position"]).await?;
        index(manager, "estimate_link", &["revision_id"]).await?;
        unique(manager, "estimate_link", &["token_hash"]).await?;
        Ok(())
    }
}

/// A numbered offer for one call; its revisions hold the content.
fn estimate() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("estimate")
        .col(id())
        .col(text("number"))
        .col(number("call_id"))
        .foreign_key(&mut reference("estimate", "call_id", "service_call"))
        .col(instant("created_at"))
        .col(number("created_by"))
        .foreign_key(&mut reference("estimate", "created_by", "staff"));
    table
}

/// One revision: changed only while a draft, frozen once sent.
fn estimate_revision() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("estimate_revision")
        .col(id())
        .col(number("estimate_id"))
        .foreign_key(&mut reference(
            "estimate_revision",
            "estimate_id",
            "estimate",
        ))
        .col(whole("revision"))
        .col(text("state"))
        .col(number("price_book_id"))
        .foreign_key(&mut reference(
            "estimate_revision",
            "price_book_id",
            "price_book",
        ))
        .col(number("tax_jurisdiction_id"))
        .foreign_key(&mut reference(
            "estimate_revision",
            "tax_jurisdiction_id",
            "tax_jurisdiction",
        ))
        .col(text("found_text"))
        .col(text_null("notes"))
        .col(instant("drafted_at"))
        .col(day_null("valid_until"))
        .col(text_null("content_json"))
        .col(text_null("content_hash"))
        .col(instant_null("sent_at"))
        .col(instant_null("answered_at"))
        .col(text_null("answered_name"))
        .col(text_null("answered_from"))
        .col(text_null("decline_reason"))
        .col(number_null("accepted_option_id"))
        .col(number_null("accepted_call_id"))
        .foreign_key(&mut reference(
            "estimate_revision",
            "accepted_call_id",
            "service_call",
        ))
        .col(whole("version"))
        .check(one_of(
            "state",
            &[
                "draft",
                "sent",
                "accepted",
                "declined",
                "expired",
                "superseded",
                "invoiced",
            ],
        ));
    table
}

/// One alternative of an estimate.
fn estimate_option() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("estimate_option")
        .col(id())
        .col(number("revision_id"))
        .foreign_key(&mut reference(
            "estimate_option",
            "revision_id",
            "estimate_revision",
        ))
        .col(whole("position"))
        .col(text("title"))
        .col(text_null("summary"))
        .col(cents("net_cents"))
        .col(cents("discount_cents"))
        .col(cents("tax_cents"))
        .col(cents("total_cents"))
        .check(Expr::cust(
            "total_cents = net_cents - discount_cents + tax_cents",
        ))
        .check(Expr::cust("discount_cents >= 0"));
    table
}

/// One charge of an option.
fn estimate_line() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("estimate_line")
        .col(id())
        .col(number("option_id"))
        .foreign_key(&mut reference(
            "estimate_line",
            "option_id",
            "estimate_option",
        ))
        .col(whole("position"))
        .col(text("kind"))
        .col(text("description"))
        .col(number_null("part_id"))
        .foreign_key(&mut reference("estimate_line", "part_id", "part"))
        .col(exact("quantity"))
        .col(cents("unit_price_cents"))
        .col(cents("net_cents"))
        .col(cents("discount_cents"))
        .col(cents("taxable_cents"))
        .col(cents("tax_cents"))
        .col(text("tax_reason"))
        .col(cents("cost_cents"))
        .col(whole_null("labour_minutes"))
        .check(one_of(
            "kind",
            &["part", "labour", "trip", "diagnostic", "freight", "fee"],
        ));
    table
}

/// Tax of an option by level.
fn estimate_tax() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("estimate_tax")
        .col(id())
        .col(number("option_id"))
        .foreign_key(&mut reference(
            "estimate_tax",
            "option_id",
            "estimate_option",
        ))
        .col(whole("position"))
        .col(number("tax_level_id"))
        .foreign_key(&mut reference("estimate_tax", "tax_level_id", "tax_level"))
        .col(text("name"))
        .col(exact("rate_percent"))
        .col(cents("taxable_cents"))
        .col(cents("tax_cents"));
    table
}

/// A customer's way in: one revision, until a day, by a token kept as a hash.
fn estimate_link() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("estimate_link")
        .col(id())
        .col(number("revision_id"))
        .foreign_key(&mut reference(
            "estimate_link",
            "revision_id",
            "estimate_revision",
        ))
        .col(text("token_hash"))
        .col(instant("created_at"))
        .col(instant("expires_at"))
        .col(instant_null("revoked_at"));
    table
}
