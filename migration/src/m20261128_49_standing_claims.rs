//! Claims that stand and those that are void, so that what is billed anew is claimed anew; closed claims taken up again; and
//! by which line of an advice or payment a step was taken.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::DatabaseBackend;

use crate::columns::*;
use crate::m20261128_20_stock::add;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        add(manager, "claim", number_null("standing_call_id")).await?;
        add(manager, "claim", number_null("standing_invoice_id")).await?;
        let connection = manager.get_connection();
        connection.execute_unprepared(STANDING).await?;
        for name in ["ux_claim_call_id_programme_id", "ux_claim_invoice_id"] {
            let old = Index::drop().name(name).table("claim").to_owned();
            manager.drop_index(old).await?;
        }
        unique(manager, "claim", &["standing_call_id", "programme_id"]).await?;
        unique(manager, "claim", &["standing_invoice_id"]).await?;
        index(manager, "claim", &["call_id"]).await?;
        index(manager, "claim", &["invoice_id"]).await?;
        match manager.get_database_backend() {
            DatabaseBackend::Sqlite => rebuild_steps(manager).await,
            _ => widen_steps(manager).await,
        }
    }
}

const STANDING: &str =
    "UPDATE claim SET standing_call_id = call_id, standing_invoice_id = invoice_id";

const STEPS: [&str; 14] = [
    "drafted",
    "make_ready",
    "reopen",
    "submit",
    "query",
    "approve",
    "approve_part",
    "deny",
    "pay",
    "appeal",
    "close",
    "resume",
    "void",
    "unsay",
];

const STATES: [&str; 10] = [
    "draft",
    "ready",
    "submitted",
    "queried",
    "approved",
    "part_approved",
    "denied",
    "paid",
    "appealed",
    "closed",
];

async fn widen_steps(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let words = STEPS.join("', '");
    let sql = format!(
        "ALTER TABLE claim_step DROP CONSTRAINT claim_step_step_check, \
         ADD CONSTRAINT claim_step_step_check CHECK (step IN ('{words}')), \
         ADD COLUMN advice_row_id BIGINT REFERENCES advice_row (id), \
         ADD COLUMN payment_id BIGINT REFERENCES payment (id)"
    );
    manager.get_connection().execute_unprepared(&sql).await?;
    index(manager, "claim_step", &["advice_row_id"]).await?;
    index(manager, "claim_step", &["payment_id"]).await
}

/// `SQLite` keeps a table's checks for ever, so the rows move into a new one, and with them those that point at them.
async fn rebuild_steps(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let connection = manager.get_connection();
    let run = async |sql: &str| connection.execute_unprepared(sql).await.map(drop);
    run("ALTER TABLE claim_step RENAME TO claim_step_before").await?;
    run("ALTER TABLE claim_sending RENAME TO claim_sending_before").await?;
    create(manager, claim_step()).await?;
    create(manager, claim_sending()).await?;
    let of_step = "id, claim_id, step, state, taken_on, note, reason_code, reason_release, cents, taken_at, taken_by";
    let of_sending = "id, claim_id, step_id, archive_json, sha256, byte_count, mailed_to";
    for (table, columns) in [("claim_step", of_step), ("claim_sending", of_sending)] {
        let sql = format!(
            "INSERT INTO {table} ({columns}) SELECT {columns} FROM {table}_before ORDER BY id"
        );
        run(&sql).await?;
    }
    run("DROP TABLE claim_sending_before").await?;
    run("DROP TABLE claim_step_before").await?;
    index(manager, "claim_step", &["claim_id", "id"]).await?;
    index(manager, "claim_step", &["taken_by"]).await?;
    index(manager, "claim_step", &["advice_row_id"]).await?;
    index(manager, "claim_step", &["payment_id"]).await?;
    index(manager, "claim_sending", &["claim_id", "id"]).await?;
    unique(manager, "claim_sending", &["step_id"]).await
}

/// As it was first made, with the wider list, the line of an advice and the payment.
fn claim_step() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("claim_step")
        .col(id())
        .col(number("claim_id"))
        .foreign_key(&mut reference("claim_step", "claim_id", "claim"))
        .col(text("step"))
        .col(text("state"))
        .col(day("taken_on"))
        .col(text_null("note"))
        .col(text_null("reason_code"))
        .col(text_null("reason_release"))
        .col(cents_null("cents"))
        .col(instant("taken_at"))
        .col(number_null("taken_by"))
        .foreign_key(&mut reference("claim_step", "taken_by", "staff"))
        .col(number_null("advice_row_id"))
        .foreign_key(&mut reference("claim_step", "advice_row_id", "advice_row"))
        .col(number_null("payment_id"))
        .foreign_key(&mut reference("claim_step", "payment_id", "payment"))
        .check(one_of("step", &STEPS))
        .check(one_of("state", &STATES));
    table
}

/// As it was first made.
fn claim_sending() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("claim_sending")
        .col(id())
        .col(number("claim_id"))
        .foreign_key(&mut reference("claim_sending", "claim_id", "claim"))
        .col(number("step_id"))
        .foreign_key(&mut reference("claim_sending", "step_id", "claim_step"))
        .col(text("archive_json"))
        .col(text("sha256"))
        .col(number("byte_count"))
        .col(text_null("mailed_to"));
    table
}
