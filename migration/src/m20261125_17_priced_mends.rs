//! What set the price of a part, whether parts are new, used or rebuilt, and discounts on single lines.

use sea_orm_migration::prelude::*;

use crate::columns::*;

/// How a part comes to the customer.
const CONDITIONS: [&str; 3] = ["new", "used", "rebuilt"];

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        add(manager, "part", word("condition", &CONDITIONS)).await?;
        let condition = || word("part_condition", &CONDITIONS);
        add(manager, "price_list", condition()).await?;
        let bases = ["schedule", "markup_cap", "fixed", "list_price_cap"];
        let line = "estimate_line";
        add(manager, line, condition()).await?;
        add(manager, line, word("price_basis", &bases)).await?;
        add(manager, line, cents_null("list_price_cents")).await?;
        add(manager, line, none_so_far("own_discount_cents")).await?;
        let line = "invoice_line";
        add(manager, line, condition()).await?;
        add(manager, line, none_so_far("own_discount_cents")).await
    }
}

/// A text that is empty or one of these words.
fn word(name: &'static str, words: &[&'static str]) -> ColumnDef {
    let mut column = text_null(name);
    column.check(one_of(name, words));
    column
}

/// An amount that the lines there are do not have.
fn none_so_far(name: &'static str) -> ColumnDef {
    let mut column = cents(name);
    column.default(0);
    column
}

/// Adds one column: `SQLite` takes one at a time.
async fn add(
    manager: &SchemaManager<'_>,
    table: &'static str,
    column: ColumnDef,
) -> Result<(), DbErr> {
    let mut change = Table::alter();
    change.table(table).add_column(column);
    manager.alter_table(change).await
}
