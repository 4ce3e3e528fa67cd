//! What a warranty payer left unpaid of its invoice: borne by the shop, or moved to the customer of the call.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::DatabaseBackend;

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
        add(manager, "invoice", number_null("moved_from_invoice_id")).await?;
        index(manager, "invoice", &["moved_from_invoice_id"]).await?;
        let mut kind = text("kind");
        kind.default("bad_debt");
        kind.check(one_of("kind", &["bad_debt", "claim_shortfall"]));
        add(manager, "write_off", kind).await?;
        allocations_can_move(manager).await
    }
}

/// The table is built anew: its constraints knew nothing of what is moved to another invoice. Its rows keep their ids, as
/// entries of the journal name them.
async fn allocations_can_move(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    create(manager, allocation_again()).await?;
    let connection = manager.get_connection();
    connection
        .execute_unprepared(
            "INSERT INTO allocation_again (id, payment_id, credit_note_id, write_off_id, invoice_id, amount_cents, \
             applied_on, allocated_at, undoes_allocation_id) \
             SELECT id, payment_id, credit_note_id, write_off_id, invoice_id, amount_cents, applied_on, allocated_at, \
             undoes_allocation_id FROM allocation ORDER BY id",
        )
        .await?;
    let mut old = Table::drop();
    old.table("allocation");
    manager.drop_table(old).await?;
    let mut rename = Table::rename();
    rename.table("allocation_again", "allocation");
    manager.rename_table(rename).await?;
    if manager.get_database_backend() == DatabaseBackend::Postgres {
        connection
            .execute_unprepared(
                "SELECT setval(pg_get_serial_sequence('allocation', 'id'), COALESCE((SELECT MAX(id) FROM allocation), 0) + 1, \
                 false)",
            )
            .await?;
    }
    for column in [
        "payment_id",
        "credit_note_id",
        "write_off_id",
        "moved_to_invoice_id",
        "invoice_id",
    ] {
        index(manager, "allocation", &[column]).await?;
    }
    unique(manager, "allocation", &["undoes_allocation_id"]).await?;
    keep(manager, "allocation").await
}

/// What part of a payment, credit note or write-off settles which invoice, or which other invoice asks for it instead;
/// below zero where it undoes another row.
fn allocation_again() -> TableCreateStatement {
    let of =
        |column: &'static str, table: &'static str| reference("allocation_again", column, table);
    let mut table = Table::create();
    table
        .table("allocation_again")
        .col(id())
        .col(number_null("payment_id"))
        .foreign_key(&mut of("payment_id", "payment"))
        .col(number_null("credit_note_id"))
        .foreign_key(&mut of("credit_note_id", "invoice"))
        .col(number_null("write_off_id"))
        .foreign_key(&mut of("write_off_id", "write_off"))
        .col(number_null("moved_to_invoice_id"))
        .foreign_key(&mut of("moved_to_invoice_id", "invoice"))
        .col(number("invoice_id"))
        .foreign_key(&mut of("invoice_id", "invoice"))
        .col(cents("amount_cents"))
        .col(day("applied_on"))
        .col(instant("allocated_at"))
        .col(number_null("undoes_allocation_id"))
        .check(Expr::cust(
            "(amount_cents > 0 AND undoes_allocation_id IS NULL) \
             OR (amount_cents < 0 AND undoes_allocation_id IS NOT NULL)",
        ))
        .check(Expr::cust(
            "(CASE WHEN payment_id IS NULL THEN 0 ELSE 1 END) + (CASE WHEN credit_note_id IS NULL THEN 0 ELSE 1 END) \
             + (CASE WHEN write_off_id IS NULL THEN 0 ELSE 1 END) \
             + (CASE WHEN moved_to_invoice_id IS NULL THEN 0 ELSE 1 END) = 1",
        ));
    table
}
