//! Receivables in full depth: credit notes in part, credit that is laid against invoices or refunded, payments undone,
//! write-offs, and the shop's terms about all of these.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::DatabaseBackend;

use crate::columns::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        create(manager, write_off()).await?;
        create(manager, write_off_tax()).await?;
        create(manager, payment_reversal()).await?;
        create(manager, refund()).await?;
        create(manager, refund_part()).await?;
        create(manager, credit_left()).await?;
        create(manager, receivable_terms()).await?;
        add_columns(manager).await?;
        lines_know_what_they_take_back(manager).await?;
        allocations_can_be_undone(manager).await?;
        indexes(manager).await?;
        for statement in FILLED {
            manager
                .get_connection()
                .execute_unprepared(statement)
                .await?;
        }
        for table in [
            "write_off_tax",
            "payment_reversal",
            "refund",
            "refund_part",
            "allocation",
        ] {
            keep(manager, table).await?;
        }
        Ok(())
    }
}

/// What the rows there are say about the new columns and tables.
const FILLED: [&str; 4] = [
    "UPDATE receivable SET taken_back = TRUE WHERE invoice_id IN \
     (SELECT credits_invoice_id FROM invoice WHERE credits_invoice_id IS NOT NULL)",
    "INSERT INTO credit_left (credit_note_id, customer_id, arose_on, left_cents) \
     SELECT c.id, c.customer_id, c.issued_on, -c.total_cents - COALESCE((SELECT SUM(a.amount_cents) \
     FROM allocation a WHERE a.credit_note_id = c.id), 0) FROM invoice c WHERE c.kind = 'credit_note'",
    "INSERT INTO number_series (series, prefix, next_number) SELECT n.series, n.prefix, 1 FROM \
     (SELECT 'refund' AS series, 'R-' AS prefix UNION ALL SELECT 'write_off', 'W-') n \
     WHERE EXISTS (SELECT 1 FROM number_series)",
    "INSERT INTO receivable_terms (id, credit_applies_itself, write_off_tax_relief, returned_payment_fee_cents, \
     late_charge_grace_days, late_charge_cents, overdue_first_days, overdue_second_days, overdue_third_days, version) \
     VALUES (1, TRUE, FALSE, 0, 0, 0, 7, 21, 45, 1)",
];

async fn add_columns(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    add(manager, "payment", number_null("deposit_call_id")).await?;
    add(manager, "payment", day_null("reversed_on")).await?;
    add(manager, "receivable", no("taken_back")).await?;
    add(manager, "receivable", day_null("disputed_on")).await?;
    add(manager, "receivable", text_null("disputed_because")).await?;
    add(manager, "receivable", day_null("late_charge_next_on")).await?;
    add(manager, "receivable", day_null("next_reminder_on")).await?;
    let mut none_yet = whole("reminders_sent");
    none_yet.default(0);
    add(manager, "receivable", none_yet).await?;
    add(manager, "invoice", number_null("charge_for_invoice_id")).await?;
    add(manager, "invoice_line", number_null("credits_line_id")).await?;
    add(manager, "invoice_line", no("corrects_price")).await?;
    add(manager, "estimate_revision", no("billing_taken_back")).await
}

async fn indexes(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let mut once = Index::drop();
    once.name("ux_invoice_credits_invoice_id").table("invoice");
    manager.drop_index(once).await?;
    index(manager, "invoice", &["credits_invoice_id"]).await?;
    index(manager, "invoice_line", &["credits_line_id"]).await?;
    index(manager, "payment", &["deposit_call_id"]).await?;
    index(manager, "payment", &["customer_id", "unallocated_cents"]).await?;
    index(manager, "credit_left", &["customer_id", "left_cents"]).await?;
    index(manager, "receivable", &["next_reminder_on"]).await?;
    index(manager, "invoice", &["charge_for_invoice_id"]).await?;
    index(manager, "refund", &["customer_id"]).await?;
    index(manager, "refund", &["recorded_by"]).await?;
    unique(manager, "refund", &["number"]).await?;
    index(manager, "refund_part", &["refund_id"]).await?;
    index(manager, "refund_part", &["payment_id"]).await?;
    index(manager, "refund_part", &["credit_note_id"]).await?;
    unique(manager, "payment_reversal", &["payment_id"]).await?;
    index(manager, "payment_reversal", &["recorded_by"]).await?;
    unique(manager, "write_off", &["number"]).await?;
    index(manager, "write_off", &["invoice_id"]).await?;
    index(manager, "write_off", &["written_off_by"]).await?;
    index(manager, "write_off_tax", &["write_off_id"]).await?;
    index(manager, "write_off_tax", &["tax_level_id"]).await?;
    index(manager, "allocation", &["payment_id"]).await?;
    index(manager, "allocation", &["credit_note_id"]).await?;
    index(manager, "allocation", &["write_off_id"]).await?;
    index(manager, "allocation", &["invoice_id"]).await?;
    unique(manager, "allocation", &["undoes_allocation_id"]).await
}

/// A line of a credit note names the line it takes back; so far both stood at the same place.
async fn lines_know_what_they_take_back(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let connection = manager.get_connection();
    let statements: &[&str] = match manager.get_database_backend() {
        DatabaseBackend::Sqlite => &["DROP TRIGGER keep_invoice_line_update"],
        _ => &["ALTER TABLE invoice_line DISABLE TRIGGER keep_invoice_line"],
    };
    for statement in statements {
        connection.execute_unprepared(statement).await?;
    }
    connection
        .execute_unprepared(
            "UPDATE invoice_line SET credits_line_id = (SELECT l.id FROM invoice c \
             JOIN invoice_line l ON l.invoice_id = c.credits_invoice_id AND l.position = invoice_line.position \
             WHERE c.id = invoice_line.invoice_id) \
             WHERE invoice_id IN (SELECT id FROM invoice WHERE kind = 'credit_note')",
        )
        .await?;
    let statement = match manager.get_database_backend() {
        DatabaseBackend::Sqlite => {
            "CREATE TRIGGER keep_invoice_line_update BEFORE UPDATE ON invoice_line \
             BEGIN SELECT RAISE(ABORT, 'invoice_line is never changed'); END"
        }
        _ => "ALTER TABLE invoice_line ENABLE TRIGGER keep_invoice_line",
    };
    connection.execute_unprepared(statement).await?;
    Ok(())
}

/// The table is built anew: its constraints knew neither write-offs nor rows that undo others.
async fn allocations_can_be_undone(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    create(manager, allocation_anew()).await?;
    manager
        .get_connection()
        .execute_unprepared(
            "INSERT INTO allocation_anew (payment_id, credit_note_id, invoice_id, amount_cents, applied_on, allocated_at) \
             SELECT a.payment_id, a.credit_note_id, a.invoice_id, a.amount_cents, \
             CASE WHEN COALESCE(p.received_on, c.issued_on) > i.issued_on \
             THEN COALESCE(p.received_on, c.issued_on) ELSE i.issued_on END, a.allocated_at \
             FROM allocation a JOIN invoice i ON i.id = a.invoice_id \
             LEFT JOIN payment p ON p.id = a.payment_id LEFT JOIN invoice c ON c.id = a.credit_note_id ORDER BY a.id",
        )
        .await?;
    let mut old = Table::drop();
    old.table("allocation");
    manager.drop_table(old).await?;
    let mut rename = Table::rename();
    rename.table("allocation_anew", "allocation");
    manager.rename_table(rename).await
}

/// Rows of this table are never changed or deleted once written.
async fn keep(manager: &SchemaManager<'_>, table: &str) -> Result<(), DbErr> {
    let statements = match manager.get_database_backend() {
        DatabaseBackend::Sqlite => ["UPDATE", "DELETE"]
            .map(|act| {
                format!(
                    "CREATE TRIGGER keep_{table}_{} BEFORE {act} ON {table} \
                     BEGIN SELECT RAISE(ABORT, '{table} is never changed'); END",
                    act.to_lowercase()
                )
            })
            .to_vec(),
        _ => vec![format!(
            "CREATE TRIGGER keep_{table} BEFORE UPDATE OR DELETE ON {table} \
             FOR EACH ROW EXECUTE FUNCTION keep_as_written()"
        )],
    };
    for statement in statements {
        manager
            .get_connection()
            .execute_unprepared(&statement)
            .await?;
    }
    Ok(())
}

/// What part of a payment, credit note or write-off settles which invoice; below zero where it undoes another row.
fn allocation_anew() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("allocation_anew")
        .col(id())
        .col(number_null("payment_id"))
        .foreign_key(&mut reference("allocation_anew", "payment_id", "payment"))
        .col(number_null("credit_note_id"))
        .foreign_key(&mut reference("allocation_anew", "credit_note_id", "invoice"))
        .col(number_null("write_off_id"))
        .foreign_key(&mut reference("allocation_anew", "write_off_id", "write_off"))
        .col(number("invoice_id"))
        .foreign_key(&mut reference("allocation_anew", "invoice_id", "invoice"))
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
             + (CASE WHEN write_off_id IS NULL THEN 0 ELSE 1 END) = 1",
        ));
    table
}

/// What is left of a credit note: credit of its customer.
fn credit_left() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("credit_left")
        .col(number("credit_note_id").primary_key())
        .foreign_key(&mut reference("credit_left", "credit_note_id", "invoice"))
        .col(number("customer_id"))
        .foreign_key(&mut reference("credit_left", "customer_id", "customer"))
        .col(day("arose_on"))
        .col(cents("left_cents"))
        .check(Expr::cust("left_cents >= 0"));
    table
}

/// Credit that was paid back to its customer.
fn refund() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("refund")
        .col(id())
        .col(text("number"))
        .col(number("customer_id"))
        .foreign_key(&mut reference("refund", "customer_id", "customer"))
        .col(text("method"))
        .col(text_null("reference"))
        .col(day("refunded_on"))
        .col(instant("recorded_at"))
        .col(number("recorded_by"))
        .foreign_key(&mut reference("refund", "recorded_by", "staff"))
        .col(cents("amount_cents"))
        .check(one_of("method", &["cash", "check", "card", "transfer"]))
        .check(Expr::cust("amount_cents > 0"));
    table
}

/// Out of which payment or credit note a refund was paid.
fn refund_part() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("refund_part")
        .col(id())
        .col(number("refund_id"))
        .foreign_key(&mut reference("refund_part", "refund_id", "refund"))
        .col(number_null("payment_id"))
        .foreign_key(&mut reference("refund_part", "payment_id", "payment"))
        .col(number_null("credit_note_id"))
        .foreign_key(&mut reference("refund_part", "credit_note_id", "invoice"))
        .col(cents("amount_cents"))
        .check(Expr::cust("amount_cents > 0"))
        .check(Expr::cust(
            "(payment_id IS NULL) <> (credit_note_id IS NULL)",
        ));
    table
}

/// Why and when a payment was undone.
fn payment_reversal() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("payment_reversal")
        .col(id())
        .col(number("payment_id"))
        .foreign_key(&mut reference("payment_reversal", "payment_id", "payment"))
        .col(text("kind"))
        .col(text("reason"))
        .col(day("reversed_on"))
        .col(instant("recorded_at"))
        .col(number("recorded_by"))
        .foreign_key(&mut reference("payment_reversal", "recorded_by", "staff"))
        .check(one_of(
            "kind",
            &["bounced", "charged_back", "recorded_by_mistake"],
        ));
    table
}

/// An open amount that is no longer expected.
fn write_off() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("write_off")
        .col(id())
        .col(text("number"))
        .col(number("invoice_id"))
        .foreign_key(&mut reference("write_off", "invoice_id", "invoice"))
        .col(cents("amount_cents"))
        .col(cents("bad_debt_cents"))
        .col(text("reason"))
        .col(day("written_off_on"))
        .col(instant("written_off_at"))
        .col(number("written_off_by"))
        .foreign_key(&mut reference("write_off", "written_off_by", "staff"))
        .col(day_null("reversed_on"))
        .check(Expr::cust("amount_cents > 0"))
        .check(Expr::cust("bad_debt_cents >= 0"))
        .check(Expr::cust("bad_debt_cents <= amount_cents"));
    table
}

/// The sales tax that a write-off gives back, by level.
fn write_off_tax() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("write_off_tax")
        .col(id())
        .col(number("write_off_id"))
        .foreign_key(&mut reference("write_off_tax", "write_off_id", "write_off"))
        .col(number("tax_level_id"))
        .foreign_key(&mut reference("write_off_tax", "tax_level_id", "tax_level"))
        .col(cents("amount_cents"))
        .check(Expr::cust("amount_cents > 0"));
    table
}

/// The one row of the shop's terms about money owed.
fn receivable_terms() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("receivable_terms")
        .col(number("id").primary_key())
        .col(yes_no("credit_applies_itself"))
        .col(yes_no("write_off_tax_relief"))
        .col(cents("returned_payment_fee_cents"))
        .col(whole("late_charge_grace_days"))
        .col(exact_null("late_charge_percent"))
        .col(cents("late_charge_cents"))
        .col(whole("overdue_first_days"))
        .col(whole("overdue_second_days"))
        .col(whole("overdue_third_days"))
        .col(whole("version"))
        .check(Expr::cust("returned_payment_fee_cents >= 0"))
        .check(Expr::cust("late_charge_cents >= 0"));
    table
}

/// A yes or no that is no for the rows there are.
fn no(name: &'static str) -> ColumnDef {
    let mut column = yes_no(name);
    column.default(false);
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
