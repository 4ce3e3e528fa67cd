//! Suppliers' bills that are undone, receipts that are billed in part, and what was paid by day.
//!
//! A number of a supplier is free again once its bill is undone, so no index can hold it unique; acts look it up in the
//! one write transaction, and `verify` finds twins.

use sea_orm_migration::prelude::*;

use crate::columns::*;
use crate::m20261128_20_stock::{add, keep};

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        create(manager, undoing()).await?;
        index(manager, "supplier_bill_undoing", &["undone_on"]).await?;
        index(manager, "supplier_bill_undoing", &["recorded_by"]).await?;
        keep(manager, "supplier_bill_undoing").await?;
        let numbers = ["supplier_id", "kind", "supplier_number_key"];
        no_longer_unique(manager, "supplier_bill", &numbers).await?;
        no_longer_unique(manager, "supplier_bill_line", &["receipt_move_id"]).await?;
        add(manager, "supplier_bill_line", cents_null("awaited_cents")).await?;
        index(manager, "payable_allocation", &["applied_on"]).await?;
        receipts(manager).await
    }
}

/// From which day a bill or credit counts no more.
fn undoing() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("supplier_bill_undoing")
        .col(number("bill_id").primary_key())
        .foreign_key(&mut reference(
            "supplier_bill_undoing",
            "bill_id",
            "supplier_bill",
        ))
        .col(day("undone_on"))
        .col(text("reason"))
        .col(instant("recorded_at"))
        .col(number("recorded_by"))
        .foreign_key(&mut reference(
            "supplier_bill_undoing",
            "recorded_by",
            "staff",
        ));
    table
}

async fn no_longer_unique(
    manager: &SchemaManager<'_>,
    table: &'static str,
    columns: &[&'static str],
) -> Result<(), DbErr> {
    let mut gone = Index::drop();
    gone.name(format!("ux_{table}_{}", columns.join("_")))
        .table(table);
    manager.drop_index(gone).await?;
    index(manager, table, columns).await
}

/// The table is built anew, as it took no receipt at a cost of nothing; such receipts wait for their bill since. Those
/// that nobody billed as new parts meanwhile are the owner's to tell, so none is added for days gone by.
async fn receipts(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let connection = manager.get_connection();
    for statement in [
        "CREATE TABLE unbilled_receipt_before AS SELECT * FROM unbilled_receipt",
        "DROP TABLE unbilled_receipt",
    ] {
        connection.execute_unprepared(statement).await?;
    }
    create(manager, unbilled_receipt()).await?;
    for statement in [
        "INSERT INTO unbilled_receipt (move_id, supplier_id, cost_cents, is_open, open_quantity, open_cents) \
         SELECT b.move_id, b.supplier_id, b.cost_cents, b.is_open, CASE WHEN b.is_open THEN m.quantity ELSE '0' END, \
         CASE WHEN b.is_open THEN b.cost_cents ELSE 0 END \
         FROM unbilled_receipt_before b JOIN stock_move m ON m.id = b.move_id",
        "DROP TABLE unbilled_receipt_before",
    ] {
        connection.execute_unprepared(statement).await?;
    }
    index(manager, "unbilled_receipt", &["is_open"]).await?;
    index(manager, "unbilled_receipt", &["supplier_id"]).await
}

/// Parts that came in without a bill, and what of them is still to be billed.
fn unbilled_receipt() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("unbilled_receipt")
        .col(number("move_id").primary_key())
        .foreign_key(&mut reference("unbilled_receipt", "move_id", "stock_move"))
        .col(number_null("supplier_id"))
        .foreign_key(&mut reference(
            "unbilled_receipt",
            "supplier_id",
            "supplier",
        ))
        .col(cents("cost_cents"))
        .col(yes_no("is_open"))
        .col(exact("open_quantity"))
        .col(cents("open_cents"))
        .check(Expr::cust("cost_cents >= 0"))
        .check(Expr::cust("open_cents >= 0 AND open_cents <= cost_cents"))
        .check(Expr::cust("is_open OR open_cents = 0"));
    table
}
