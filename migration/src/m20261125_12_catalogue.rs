//! The catalogue in depth: tasks, zones and rates of price books, suppliers and their price lists, and what a
//! line was priced from.

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
        books(manager).await?;
        parts(manager).await?;
        price_lists(manager).await?;
        lines(manager).await
    }
}

async fn books(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let mut minutes = whole("minimum_minutes");
    minutes.default(60);
    let mut share = exact("second_technician_share");
    share.default("1");
    for column in [
        minutes,
        share,
        cents_null("maximum_markup_cents"),
        text_null("distance_unit"),
    ] {
        add(manager, "price_book", column).await?;
    }
    create(manager, flat_rate_task()).await?;
    create(manager, labour_rate()).await?;
    create(manager, trip_zone()).await?;
    create(manager, technician_rate()).await?;
    unique(manager, "flat_rate_task", &["price_book_id", "task_key"]).await?;
    unique(manager, "labour_rate", &["price_book_id", "name"]).await?;
    unique(manager, "trip_zone", &["price_book_id", "name"]).await?;
    unique(manager, "technician_rate", &["staff_id"]).await
}

async fn parts(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    create(manager, supplier()).await?;
    unique(manager, "supplier", &["name_key"]).await?;
    for column in [
        link("supplier_id", "supplier"),
        link("superseded_by_id", "part"),
        text_null("component_class"),
        cents_null("core_deposit_cents"),
        cents_null("freight_cents"),
    ] {
        add(manager, "part", column).await?;
    }
    suppliers_by_name(manager).await?;
    index(manager, "part", &["superseded_by_id"]).await?;
    index(manager, "part", &["supplier_id"]).await?;
    create(manager, part_lot()).await?;
    unique(manager, "part_lot", &["part_id", "lot"]).await?;
    add(manager, "part_used", link("lot_id", "part_lot")).await?;
    index(manager, "part_used", &["lot_id"]).await
}

/// What stood on each part as a word becomes a record of its own.
async fn suppliers_by_name(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let connection = manager.get_connection();
    for statement in [
        "INSERT INTO supplier (name, name_key, version) \
         SELECT MIN(supplier), LOWER(supplier), 1 FROM part WHERE supplier IS NOT NULL GROUP BY LOWER(supplier)",
        "UPDATE part SET supplier_id = (SELECT s.id FROM supplier s WHERE s.name_key = LOWER(part.supplier)) \
         WHERE supplier IS NOT NULL",
    ] {
        connection.execute_unprepared(statement).await?;
    }
    let mut table = Table::alter();
    table.table("part").drop_column("supplier");
    manager.alter_table(table).await
}

async fn price_lists(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    create(manager, price_list()).await?;
    create(manager, price_list_row()).await?;
    create(manager, price_list_fault()).await?;
    index(manager, "price_list_row", &["price_list_id", "number"]).await?;
    index(manager, "price_list_fault", &["price_list_id", "line"]).await?;
    add(manager, "part_cost", link("price_list_id", "price_list")).await
}

/// What a line of an estimate was priced from, so that it can be priced again under another book.
async fn lines(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    for column in [
        link("task_id", "flat_rate_task"),
        text_null("work_hours"),
        whole_null("crew"),
        text_null("rate_name"),
        whole_null("worked_minutes"),
        text_null("zone_name"),
        text_null("priced_by"),
        flag_null("first_labour"),
    ] {
        add(manager, "estimate_line", column).await?;
    }
    index(manager, "estimate_revision", &["answered_at"]).await?;
    for column in [text_null("trip_zone"), exact_null("trip_distance")] {
        add(manager, "service_address", column).await?;
    }
    Ok(())
}

async fn add(
    manager: &SchemaManager<'_>,
    table: &'static str,
    column: ColumnDef,
) -> Result<(), DbErr> {
    let mut alter = Table::alter();
    alter.table(table).add_column(column);
    manager.alter_table(alter).await
}

/// An added column that is yes, no, or not written down.
fn flag_null(name: &'static str) -> ColumnDef {
    let mut column = ColumnDef::new(name);
    column.boolean();
    column
}

/// An added column that may name a row of `target`.
fn link(name: &'static str, target: &'static str) -> ColumnDef {
    let mut column = number_null(name);
    column.extra(format!("REFERENCES {target} (id)"));
    column
}

/// Work with the hours it is listed with.
fn flat_rate_task() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("flat_rate_task")
        .col(id())
        .col(number("price_book_id"))
        .foreign_key(&mut reference(
            "flat_rate_task",
            "price_book_id",
            "price_book",
        ))
        .col(whole("position"))
        .col(text("task_key"))
        .col(text("name"))
        .col(text_null("description"))
        .col(number_null("appliance_type_id"))
        .foreign_key(&mut reference(
            "flat_rate_task",
            "appliance_type_id",
            "appliance_type",
        ))
        .col(number_null("component_id"))
        .foreign_key(&mut reference(
            "flat_rate_task",
            "component_id",
            "component",
        ))
        .col(exact("hours"));
    table
}

/// Price of an hour of a technician of one grade.
fn labour_rate() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("labour_rate")
        .col(id())
        .col(number("price_book_id"))
        .foreign_key(&mut reference("labour_rate", "price_book_id", "price_book"))
        .col(whole("position"))
        .col(text("name"))
        .col(cents("hourly_rate_cents"))
        .check(Expr::cust("hourly_rate_cents >= 0"));
    table
}

/// A zone of the shop's area, by postal codes or by distance.
fn trip_zone() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("trip_zone")
        .col(id())
        .col(number("price_book_id"))
        .foreign_key(&mut reference("trip_zone", "price_book_id", "price_book"))
        .col(whole("position"))
        .col(text("name"))
        .col(cents("charge_cents"))
        .col(text_null("postal_codes"))
        .col(exact_null("up_to_distance"))
        .check(Expr::cust("charge_cents >= 0"));
    table
}

/// The grade of a technician, by the name of a rate.
fn technician_rate() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("technician_rate")
        .col(id())
        .col(number("staff_id"))
        .foreign_key(&mut reference("technician_rate", "staff_id", "staff"))
        .col(text("rate_name"));
    table
}

/// Who sells parts to the shop.
fn supplier() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("supplier")
        .col(id())
        .col(text("name"))
        .col(text("name_key"))
        .col(text_null("email"))
        .col(whole("version"));
    table
}

/// A batch in which a part was made, by the number printed on it.
fn part_lot() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("part_lot")
        .col(id())
        .col(number("part_id"))
        .foreign_key(&mut reference("part_lot", "part_id", "part"))
        .col(text("lot"))
        .col(instant("first_seen_at"));
    table
}

/// A supplier's list of prices, received and looked through before it is taken over.
fn price_list() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("price_list")
        .col(id())
        .col(number("supplier_id"))
        .foreign_key(&mut reference("price_list", "supplier_id", "supplier"))
        .col(text("name"))
        .col(text("columns_json"))
        .col(text("state"))
        .col(whole("upload"))
        .col(text_null("content_hash"))
        .col(number("row_count"))
        .col(number("bad_row_count"))
        .col(number("new_count"))
        .col(number("changed_count"))
        .col(number("same_count"))
        .col(number("begun_by"))
        .foreign_key(&mut reference("price_list", "begun_by", "staff"))
        .col(instant("begun_at"))
        .col(instant("touched_at"))
        .col(instant_null("taken_over_at"))
        .col(whole("version"))
        .check(one_of(
            "state",
            &[
                "begun",
                "receiving",
                "broken_off",
                "refused",
                "staged",
                "taken_over",
                "discarded",
            ],
        ));
    table
}

/// One row of a list that could be read.
fn price_list_row() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("price_list_row")
        .col(id())
        .col(number("price_list_id"))
        .foreign_key(&mut reference(
            "price_list_row",
            "price_list_id",
            "price_list",
        ))
        .col(number("line"))
        .col(text("number"))
        .col(text("description"))
        .col(text("found_by"))
        .col(cents("cost_cents"))
        .col(cents_null("list_price_cents"))
        .col(number_null("part_id"))
        .col(cents_null("old_cost_cents"))
        .col(text("outcome"))
        .check(one_of(
            "outcome",
            &["unread", "bad", "new", "changed", "same"],
        ));
    table
}

/// What is wrong in a line of a list.
fn price_list_fault() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("price_list_fault")
        .col(id())
        .col(number("price_list_id"))
        .foreign_key(&mut reference(
            "price_list_fault",
            "price_list_id",
            "price_list",
        ))
        .col(number("line"))
        .col(text_null("column_name"))
        .col(text("reason"))
        .col(text("message"));
    table
}
