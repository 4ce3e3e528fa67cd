//! What the desk lacked: refunds that are undone, payments of which something is left, mails by address, and the shop's own
//! words on how to pay.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::DatabaseBackend;

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
        add(manager, "refund", day_null("reversed_on")).await?;
        add(manager, "refund", text_null("reversed_because")).await?;
        add(manager, "shop", text_null("payment_instructions")).await?;
        index(manager, "payment", &["unallocated_cents"]).await?;
        index(manager, "outbox_mail", &["to_email"]).await?;
        parts_of_both_signs(manager).await?;
        refunds_can_be_undone(manager).await
    }
}

/// The table is built anew: its parts could not be below zero, as those are that undo others.
async fn parts_of_both_signs(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    create(manager, refund_part_anew()).await?;
    let connection = manager.get_connection();
    let columns = "id, refund_id, payment_id, credit_note_id, amount_cents";
    connection
        .execute_unprepared(&format!(
            "INSERT INTO refund_part_anew ({columns}) SELECT {columns} FROM refund_part ORDER BY id"
        ))
        .await?;
    let mut old = Table::drop();
    old.table("refund_part");
    manager.drop_table(old).await?;
    let mut rename = Table::rename();
    rename.table("refund_part_anew", "refund_part");
    manager.rename_table(rename).await?;
    if manager.get_database_backend() != DatabaseBackend::Sqlite {
        connection
            .execute_unprepared(
                "SELECT setval(pg_get_serial_sequence('refund_part', 'id'), \
                 (SELECT COALESCE(MAX(id), 0) + 1 FROM refund_part), false)",
            )
            .await?;
    }
    for column in ["refund_id", "payment_id", "credit_note_id"] {
        index(manager, "refund_part", &[column]).await?;
    }
    keep(manager, "refund_part").await
}

/// A refund never changes, save that it can be undone: the guard names the columns that stay.
async fn refunds_can_be_undone(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let kept = "number, customer_id, method, reference, refunded_on, recorded_at, recorded_by, amount_cents, \
                bank_account_id";
    let statements = match manager.get_database_backend() {
        DatabaseBackend::Sqlite => [
            "DROP TRIGGER keep_refund_update".to_owned(),
            format!(
                "CREATE TRIGGER keep_refund_update BEFORE UPDATE OF {kept} ON refund \
                 BEGIN SELECT RAISE(ABORT, 'refund is never changed'); END"
            ),
        ],
        _ => [
            "DROP TRIGGER keep_refund ON refund".to_owned(),
            format!(
                "CREATE TRIGGER keep_refund BEFORE UPDATE OF {kept} OR DELETE ON refund \
                 FOR EACH ROW EXECUTE FUNCTION keep_as_written()"
            ),
        ],
    };
    for statement in statements {
        manager
            .get_connection()
            .execute_unprepared(&statement)
            .await?;
    }
    Ok(())
}

/// Out of which payment or credit note a refund was paid; below zero where it was undone.
fn refund_part_anew() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("refund_part_anew")
        .col(id())
        .col(number("refund_id"))
        .foreign_key(&mut reference("refund_part_anew", "refund_id", "refund"))
        .col(number_null("payment_id"))
        .foreign_key(&mut reference("refund_part_anew", "payment_id", "payment"))
        .col(number_null("credit_note_id"))
        .foreign_key(&mut reference(
            "refund_part_anew",
            "credit_note_id",
            "invoice",
        ))
        .col(cents("amount_cents"))
        .check(Expr::cust("amount_cents <> 0"))
        .check(Expr::cust(
            "(payment_id IS NULL) <> (credit_note_id IS NULL)",
        ));
    table
}

async fn add(
    manager: &SchemaManager<'_>,
    table: &'static str,
    column: ColumnDef,
) -> Result<(), DbErr> {
    let mut change = Table::alter();
    change.table(table).add_column(column);
    manager.alter_table(change).await
}
