//! What suppliers are owed: their bills and credits, payments to them, and what settles what.

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
        for table in [
            supplier_bill(),
            supplier_bill_line(),
            payable(),
            supplier_payment(),
            payable_allocation(),
        ] {
            create(manager, table).await?;
        }
        add(manager, "supplier", whole_null("terms_days")).await?;
        indexes(manager).await?;
        manager
            .get_connection()
            .execute_unprepared(
                "INSERT INTO number_series (series, prefix, next_number) SELECT n.series, n.prefix, 1 FROM \
                 (SELECT 'supplier_bill' AS series, 'SB-' AS prefix UNION ALL SELECT 'supplier_credit', 'SC-' \
                 UNION ALL SELECT 'supplier_payment', 'SP-') n WHERE EXISTS (SELECT 1 FROM number_series)",
            )
            .await?;
        for table in ["supplier_bill", "supplier_bill_line", "payable_allocation"] {
            keep(manager, table).await?;
        }
        Ok(())
    }
}

async fn indexes(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    unique(manager, "supplier_bill", &["number"]).await?;
    unique(
        manager,
        "supplier_bill",
        &["supplier_id", "kind", "supplier_number_key"],
    )
    .await?;
    index(manager, "supplier_bill", &["billed_on"]).await?;
    index(manager, "supplier_bill", &["credits_bill_id"]).await?;
    index(manager, "supplier_bill", &["recorded_by"]).await?;
    index(manager, "supplier_bill_line", &["bill_id"]).await?;
    index(manager, "supplier_bill_line", &["part_id"]).await?;
    index(manager, "supplier_bill_line", &["part_order_id"]).await?;
    index(manager, "supplier_bill_line", &["move_id"]).await?;
    index(manager, "supplier_bill_line", &["place_id"]).await?;
    index(manager, "supplier_bill_line", &["account_id"]).await?;
    unique(manager, "supplier_bill_line", &["receipt_move_id"]).await?;
    index(manager, "payable", &["supplier_id", "open_cents"]).await?;
    index(manager, "payable", &["open_cents"]).await?;
    unique(manager, "supplier_payment", &["number"]).await?;
    index(manager, "supplier_payment", &["supplier_id"]).await?;
    index(manager, "supplier_payment", &["account_id"]).await?;
    index(manager, "supplier_payment", &["recorded_by"]).await?;
    index(manager, "payable_allocation", &["bill_id"]).await?;
    index(manager, "payable_allocation", &["payment_id"]).await?;
    index(manager, "payable_allocation", &["credit_id"]).await?;
    unique(manager, "payable_allocation", &["undoes_allocation_id"]).await
}

/// A supplier's bill, or the credit that a supplier gives.
fn supplier_bill() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("supplier_bill")
        .col(id())
        .col(text("kind"))
        .col(text("number"))
        .col(number("supplier_id"))
        .foreign_key(&mut reference("supplier_bill", "supplier_id", "supplier"))
        .col(text("supplier_number"))
        .col(text("supplier_number_key"))
        .col(day("billed_on"))
        .col(day("due_on"))
        .col(cents("total_cents"))
        .col(number_null("credits_bill_id"))
        .foreign_key(&mut reference(
            "supplier_bill",
            "credits_bill_id",
            "supplier_bill",
        ))
        .col(text_null("note"))
        .col(instant("recorded_at"))
        .col(number("recorded_by"))
        .foreign_key(&mut reference("supplier_bill", "recorded_by", "staff"))
        .check(one_of("kind", &["bill", "credit"]))
        .check(Expr::cust("total_cents > 0"))
        .check(Expr::cust("credits_bill_id IS NULL OR kind = 'credit'"));
    table
}

/// A line: parts, an expense, or a charge that is spread over the cost of the parts.
fn supplier_bill_line() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("supplier_bill_line")
        .col(id())
        .col(number("bill_id"))
        .foreign_key(&mut reference(
            "supplier_bill_line",
            "bill_id",
            "supplier_bill",
        ))
        .col(whole("position"))
        .col(text_null("description"))
        .col(number_null("part_id"))
        .foreign_key(&mut reference("supplier_bill_line", "part_id", "part"))
        .col(exact_null("quantity"))
        .col(cents_null("unit_cost_cents"))
        .col(number_null("place_id"))
        .foreign_key(&mut reference(
            "supplier_bill_line",
            "place_id",
            "stock_place",
        ))
        .col(number_null("account_id"))
        .foreign_key(&mut reference(
            "supplier_bill_line",
            "account_id",
            "account",
        ))
        .col(cents("amount_cents"))
        .col(cents("cost_cents"))
        .col(number_null("move_id"))
        .foreign_key(&mut reference(
            "supplier_bill_line",
            "move_id",
            "stock_move",
        ))
        .col(number_null("receipt_move_id"))
        .foreign_key(&mut reference(
            "supplier_bill_line",
            "receipt_move_id",
            "stock_move",
        ))
        .col(number_null("part_order_id"))
        .foreign_key(&mut reference(
            "supplier_bill_line",
            "part_order_id",
            "part_order",
        ))
        .check(Expr::cust("amount_cents >= 0"))
        .check(Expr::cust("part_id IS NULL OR account_id IS NULL"));
    table
}

/// What is still open on a bill, or left of a credit.
fn payable() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("payable")
        .col(number("bill_id").primary_key())
        .foreign_key(&mut reference("payable", "bill_id", "supplier_bill"))
        .col(number("supplier_id"))
        .foreign_key(&mut reference("payable", "supplier_id", "supplier"))
        .col(text("kind"))
        .col(day("due_on"))
        .col(cents("open_cents"))
        .check(Expr::cust("open_cents >= 0"));
    table
}

/// Money paid to a supplier.
fn supplier_payment() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("supplier_payment")
        .col(id())
        .col(text("number"))
        .col(number("supplier_id"))
        .foreign_key(&mut reference(
            "supplier_payment",
            "supplier_id",
            "supplier",
        ))
        .col(text("method"))
        .col(text_null("reference"))
        .col(day("paid_on"))
        .col(number("account_id"))
        .foreign_key(&mut reference("supplier_payment", "account_id", "account"))
        .col(cents("amount_cents"))
        .col(instant("recorded_at"))
        .col(number("recorded_by"))
        .foreign_key(&mut reference("supplier_payment", "recorded_by", "staff"))
        .col(day_null("undone_on"))
        .col(text_null("undone_because"))
        .check(one_of("method", &["cash", "check", "card", "transfer"]))
        .check(Expr::cust("amount_cents > 0"));
    table
}

/// What part of a payment or credit settles which bill; below zero where it undoes another row.
fn payable_allocation() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("payable_allocation")
        .col(id())
        .col(number("bill_id"))
        .foreign_key(&mut reference(
            "payable_allocation",
            "bill_id",
            "supplier_bill",
        ))
        .col(number_null("payment_id"))
        .foreign_key(&mut reference(
            "payable_allocation",
            "payment_id",
            "supplier_payment",
        ))
        .col(number_null("credit_id"))
        .foreign_key(&mut reference(
            "payable_allocation",
            "credit_id",
            "supplier_bill",
        ))
        .col(cents("amount_cents"))
        .col(day("applied_on"))
        .col(instant("allocated_at"))
        .col(number_null("undoes_allocation_id"))
        .check(Expr::cust("(payment_id IS NULL) <> (credit_id IS NULL)"))
        .check(Expr::cust(
            "(amount_cents > 0 AND undoes_allocation_id IS NULL) \
             OR (amount_cents < 0 AND undoes_allocation_id IS NOT NULL)",
        ));
    table
}
