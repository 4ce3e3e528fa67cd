//! Several payers of one sale, calls billed without an estimate, and late charges by timer.

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
        create(manager, invoice_division()).await?;
        keep(manager, "invoice_division").await?;
        for name in [
            "division_id",
            "rebills_invoice_id",
            "service_address_id",
            "price_book_id",
            "tax_exemption_id",
        ] {
            add(manager, "invoice", number_null(name)).await?;
        }
        add(manager, "invoice_line", whole_null("sale_position")).await?;
        let mut no = yes_no("is_part");
        no.default(false);
        add(manager, "invoice_line", no).await?;
        add(
            manager,
            "receivable_terms",
            number_null("late_charges_set_by"),
        )
        .await?;
        invoices_name_place_and_certificate(manager).await?;
        consents_need_no_estimate(manager).await?;
        index(manager, "invoice_division", &["call_id"]).await?;
        index(manager, "invoice", &["division_id"]).await?;
        unique(manager, "invoice", &["rebills_invoice_id"]).await?;
        index(manager, "invoice", &["service_address_id"]).await?;
        index(manager, "invoice", &["price_book_id"]).await?;
        index(manager, "invoice", &["tax_exemption_id"]).await
    }
}

/// Invoices know themselves where the machine stands and which certificate set them free of tax; so far their call and
/// the option they bill knew it.
async fn invoices_name_place_and_certificate(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let connection = manager.get_connection();
    let (open, close) = match manager.get_database_backend() {
        DatabaseBackend::Sqlite => (
            "DROP TRIGGER keep_invoice_update",
            "CREATE TRIGGER keep_invoice_update BEFORE UPDATE ON invoice \
             BEGIN SELECT RAISE(ABORT, 'invoice is never changed'); END",
        ),
        _ => (
            "ALTER TABLE invoice DISABLE TRIGGER keep_invoice",
            "ALTER TABLE invoice ENABLE TRIGGER keep_invoice",
        ),
    };
    for statement in [
        open,
        "UPDATE invoice SET service_address_id = (SELECT c.service_address_id FROM service_call c \
         WHERE c.id = invoice.call_id) WHERE call_id IS NOT NULL",
        "UPDATE invoice SET tax_exemption_id = (SELECT o.tax_exemption_id FROM estimate_option o \
         WHERE o.id = COALESCE(invoice.billed_option_id, (SELECT r.accepted_option_id FROM estimate_revision r \
         WHERE r.id = invoice.estimate_revision_id))) WHERE kind = 'invoice' AND estimate_revision_id IS NOT NULL",
        close,
    ] {
        connection.execute_unprepared(statement).await?;
    }
    Ok(())
}

/// The table is built anew: its estimate could not be left out.
async fn consents_need_no_estimate(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    create(manager, call_consent_anew()).await?;
    let columns = "id, call_id, estimate_revision_id, added_work, added_total_cents, authorised_by, how, telephone, \
         conditions, given_at, recorded_at, recorded_by";
    manager
        .get_connection()
        .execute_unprepared(&format!(
            "INSERT INTO call_consent_anew ({columns}) SELECT {columns} FROM call_consent ORDER BY id"
        ))
        .await?;
    let mut old = Table::drop();
    old.table("call_consent");
    manager.drop_table(old).await?;
    let mut rename = Table::rename();
    rename.table("call_consent_anew", "call_consent");
    manager.rename_table(rename).await?;
    if manager.get_database_backend() != DatabaseBackend::Sqlite {
        manager
            .get_connection()
            .execute_unprepared(
                "SELECT setval(pg_get_serial_sequence('call_consent', 'id'), \
                 (SELECT COALESCE(MAX(id), 0) + 1 FROM call_consent), false)",
            )
            .await?;
    }
    for column in ["call_id", "estimate_revision_id", "recorded_by"] {
        index(manager, "call_consent", &[column]).await?;
    }
    Ok(())
}

/// One sale that several payers were billed for; its figures are those of one invoice.
fn invoice_division() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("invoice_division")
        .col(id())
        .col(number("call_id"))
        .foreign_key(&mut reference(
            "invoice_division",
            "call_id",
            "service_call",
        ))
        .col(cents("net_cents"))
        .col(cents("discount_cents"))
        .col(cents("tax_cents"))
        .col(cents("total_cents"))
        .col(instant("divided_at"))
        .check(Expr::cust(
            "total_cents = net_cents - discount_cents + tax_cents",
        ));
    table
}

/// That the customer agreed to work: beyond an accepted estimate, or without one.
fn call_consent_anew() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("call_consent_anew")
        .col(id())
        .col(number("call_id"))
        .foreign_key(&mut reference(
            "call_consent_anew",
            "call_id",
            "service_call",
        ))
        .col(number_null("estimate_revision_id"))
        .foreign_key(&mut reference(
            "call_consent_anew",
            "estimate_revision_id",
            "estimate_revision",
        ))
        .col(text("added_work"))
        .col(cents("added_total_cents"))
        .col(text("authorised_by"))
        .col(text("how"))
        .col(text_null("telephone"))
        .col(text_null("conditions"))
        .col(instant("given_at"))
        .col(instant("recorded_at"))
        .col(number("recorded_by"))
        .foreign_key(&mut reference("call_consent_anew", "recorded_by", "staff"))
        .check(one_of("how", &["in_person", "by_telephone", "in_writing"]))
        .check(Expr::cust("added_total_cents > 0"));
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
