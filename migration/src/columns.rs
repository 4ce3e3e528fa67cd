//! The few kinds of column this schema uses, so that one definition serves both databases.

use sea_orm_migration::prelude::*;

/// Row id, given by the database.
pub fn id() -> ColumnDef {
    let mut column = ColumnDef::new("id");
    column
        .big_integer()
        .not_null()
        .auto_increment()
        .primary_key();
    column
}

pub fn text(name: &'static str) -> ColumnDef {
    let mut column = text_null(name);
    column.not_null();
    column
}

pub fn text_null(name: &'static str) -> ColumnDef {
    let mut column = ColumnDef::new(name);
    column.text();
    column
}

pub fn number(name: &'static str) -> ColumnDef {
    let mut column = number_null(name);
    column.not_null();
    column
}

pub fn number_null(name: &'static str) -> ColumnDef {
    let mut column = ColumnDef::new(name);
    column.big_integer();
    column
}

pub fn whole(name: &'static str) -> ColumnDef {
    let mut column = whole_null(name);
    column.not_null();
    column
}

pub fn whole_null(name: &'static str) -> ColumnDef {
    let mut column = ColumnDef::new(name);
    column.integer();
    column
}

/// Money: whole minor units of the shop's currency.
pub fn cents(name: &'static str) -> ColumnDef {
    number(name)
}

pub fn cents_null(name: &'static str) -> ColumnDef {
    number_null(name)
}

/// An exact decimal as text: `SQLite` would turn a decimal column into a float.
pub fn exact(name: &'static str) -> ColumnDef {
    text(name)
}

pub fn exact_null(name: &'static str) -> ColumnDef {
    text_null(name)
}

pub fn yes_no(name: &'static str) -> ColumnDef {
    let mut column = yes_no_null(name);
    column.not_null();
    column
}

pub fn yes_no_null(name: &'static str) -> ColumnDef {
    let mut column = ColumnDef::new(name);
    column.boolean();
    column
}

/// An instant in UTC.
pub fn instant(name: &'static str) -> ColumnDef {
    let mut column = instant_null(name);
    column.not_null();
    column
}

pub fn instant_null(name: &'static str) -> ColumnDef {
    let mut column = ColumnDef::new(name);
    column.timestamp_with_time_zone();
    column
}

/// A calendar day in the shop's time zone.
pub fn day(name: &'static str) -> ColumnDef {
    let mut column = day_null(name);
    column.not_null();
    column
}

pub fn day_null(name: &'static str) -> ColumnDef {
    let mut column = ColumnDef::new(name);
    column.date();
    column
}

/// A foreign key to another table's `id`; rows that are pointed at cannot be deleted.
pub fn reference(
    table: &'static str,
    column: &'static str,
    target: &'static str,
) -> ForeignKeyCreateStatement {
    let mut key = ForeignKey::create();
    key.name(format!("fk_{table}_{column}"))
        .from(table, column)
        .to(target, "id")
        .on_delete(ForeignKeyAction::Restrict);
    key
}

/// The column holds one of these words.
pub fn one_of(column: &'static str, words: &[&'static str]) -> Expr {
    Expr::col(column).is_in(words.iter().copied())
}

pub async fn create(manager: &SchemaManager<'_>, table: TableCreateStatement) -> Result<(), DbErr> {
    manager.create_table(table).await
}

pub async fn index(
    manager: &SchemaManager<'_>,
    table: &'static str,
    columns: &[&'static str],
) -> Result<(), DbErr> {
    manager.create_index(index_on("ix", table, columns)).await
}

/// Named `ux_<table>_<columns>`: `base/error.rs` turns a known name into a refusal.
pub async fn unique(
    manager: &SchemaManager<'_>,
    table: &'static str,
    columns: &[&'static str],
) -> Result<(), DbErr> {
    let mut index = index_on("ux", table, columns);
    index.unique();
    manager.create_index(index).await
}

fn index_on(prefix: &str, table: &'static str, columns: &[&'static str]) -> IndexCreateStatement {
    let mut index = Index::create();
    index
        .name(format!("{prefix}_{table}_{}", columns.join("_")))
        .table(table);
    for column in columns {
        index.col(*column);
    }
    index
}
