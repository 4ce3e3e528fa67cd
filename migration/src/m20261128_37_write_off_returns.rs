//! A write-off is undone in parts: as far as something came in on its invoice.

use sea_orm_migration::prelude::*;

use crate::columns::*;
use crate::m20261128_20_stock::keep;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        create(manager, write_off_return()).await?;
        create(manager, write_off_return_tax()).await?;
        index(manager, "write_off_return", &["write_off_id"]).await?;
        index(manager, "write_off_return", &["recorded_by"]).await?;
        index(manager, "write_off_return_tax", &["write_off_return_id"]).await?;
        index(manager, "write_off_return_tax", &["tax_level_id"]).await?;
        keep(manager, "write_off_return").await?;
        keep(manager, "write_off_return_tax").await
    }
}

/// So much of a write-off that is owed again, and why.
fn write_off_return() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("write_off_return")
        .col(id())
        .col(number("write_off_id"))
        .foreign_key(&mut reference(
            "write_off_return",
            "write_off_id",
            "write_off",
        ))
        .col(cents("amount_cents"))
        .col(cents("bad_debt_cents"))
        .col(text("because"))
        .col(day("returned_on"))
        .col(instant("recorded_at"))
        .col(number("recorded_by"))
        .foreign_key(&mut reference("write_off_return", "recorded_by", "staff"))
        .check(Expr::cust("amount_cents > 0"))
        .check(Expr::cust("bad_debt_cents >= 0"))
        .check(Expr::cust("bad_debt_cents <= amount_cents"));
    table
}

/// The sales tax that is owed again with it, by level.
fn write_off_return_tax() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("write_off_return_tax")
        .col(id())
        .col(number("write_off_return_id"))
        .foreign_key(&mut reference(
            "write_off_return_tax",
            "write_off_return_id",
            "write_off_return",
        ))
        .col(number("tax_level_id"))
        .foreign_key(&mut reference(
            "write_off_return_tax",
            "tax_level_id",
            "tax_level",
        ))
        .col(cents("amount_cents"))
        .check(Expr::cust("amount_cents > 0"));
    table
}
