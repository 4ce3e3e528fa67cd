//! Price books, parts and tax.

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
        create(manager, price_book()).await?;
        create(manager, markup_bracket()).await?;
        create(manager, part()).await?;
        create(manager, part_cost()).await?;
        create(manager, tax_jurisdiction()).await?;
        create(manager, tax_level()).await?;
        create(manager, taxability()).await?;
        unique(manager, "markup_bracket", &["price_book_id", "position"]).await?;
        unique(manager, "part", &["number"]).await?;
        index(manager, "part_cost", &["part_id"]).await?;
        unique(manager, "tax_jurisdiction", &["name", "effective_from"]).await?;
        unique(manager, "tax_level", &["tax_jurisdiction_id", "position"]).await?;
        unique(manager, "tax_level", &["tax_jurisdiction_id", "name"]).await?;
        unique(
            manager,
            "taxability",
            &["tax_jurisdiction_id", "charge_kind"],
        )
        .await?;
        Ok(())
    }
}

/// Rates and rules of one period; never edited once adopted.
fn price_book() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("price_book")
        .col(id())
        .col(text("name"))
        .col(day("effective_from"))
        .col(text("state"))
        .col(cents("hourly_rate_cents"))
        .col(yes_no("first_hour_minimum"))
        .col(whole("increment_minutes"))
        .col(exact("after_hours_multiplier"))
        .col(cents("trip_cents"))
        .col(cents("diagnostic_cents"))
        .col(yes_no("diagnostic_credited"))
        .col(text("markup_kind"))
        .col(cents("minimum_markup_cents"))
        .col(text("price_ending"))
        .col(instant_null("adopted_at"))
        .col(whole("version"))
        .check(one_of("state", &["draft", "adopted"]))
        .check(one_of("markup_kind", &["whole", "graduated"]))
        .check(one_of("price_ending", &["as_computed", "up95", "up99"]))
        .check(Expr::cust("hourly_rate_cents >= 0"))
        .check(Expr::cust("trip_cents >= 0"))
        .check(Expr::cust("diagnostic_cents >= 0"))
        .check(Expr::cust("increment_minutes BETWEEN 1 AND 60"))
        .check(Expr::cust("minimum_markup_cents >= 0"));
    table
}

/// One step of a book's markup schedule.
fn markup_bracket() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("markup_bracket")
        .col(id())
        .col(number("price_book_id"))
        .foreign_key(&mut reference(
            "markup_bracket",
            "price_book_id",
            "price_book",
        ))
        .col(whole("position"))
        .col(cents_null("up_to_cents"))
        .col(exact("multiplier"));
    table
}

/// A part the shop sells.
fn part() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("part")
        .col(id())
        .col(text("number"))
        .col(text("description"))
        .col(text_null("supplier"))
        .col(cents("cost_cents"))
        .col(cents_null("fixed_price_cents"))
        .col(cents_null("list_price_cents"))
        .col(whole_null("maker_warranty_months"))
        .col(whole("version"))
        .check(Expr::cust("cost_cents >= 0"));
    table
}

/// What a part cost, from when.
fn part_cost() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("part_cost")
        .col(id())
        .col(number("part_id"))
        .foreign_key(&mut reference("part_cost", "part_id", "part"))
        .col(cents("cost_cents"))
        .col(instant("from_at"));
    table
}

/// Where tax is owed, and how it is rounded.
fn tax_jurisdiction() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("tax_jurisdiction")
        .col(id())
        .col(text("name"))
        .col(text("basis"))
        .col(day("effective_from"))
        .check(one_of("basis", &["item", "invoice"]));
    table
}

/// One levying authority of a jurisdiction.
fn tax_level() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("tax_level")
        .col(id())
        .col(number("tax_jurisdiction_id"))
        .foreign_key(&mut reference(
            "tax_level",
            "tax_jurisdiction_id",
            "tax_jurisdiction",
        ))
        .col(whole("position"))
        .col(text("name"))
        .col(text("kind"))
        .col(exact("rate_percent"))
        .check(one_of("kind", &["state", "county", "city", "district"]));
    table
}

/// Whether a kind of charge is taxed there, and why.
fn taxability() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("taxability")
        .col(id())
        .col(number("tax_jurisdiction_id"))
        .foreign_key(&mut reference(
            "taxability",
            "tax_jurisdiction_id",
            "tax_jurisdiction",
        ))
        .col(text("charge_kind"))
        .col(yes_no("taxable"))
        .col(text("reason"))
        .check(one_of(
            "charge_kind",
            &["part", "labour", "trip", "diagnostic", "freight", "fee"],
        ));
    table
}
