//! Receipts taken to a bank, statements of a bank, what in them is matched to the books, and reconciliations.

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
        create(manager, bank_deposit()).await?;
        create(manager, bank_deposit_line()).await?;
        create(manager, bank_layout()).await?;
        create(manager, bank_statement()).await?;
        create(manager, bank_match()).await?;
        create(manager, bank_match_posting()).await?;
        create(manager, bank_reconciliation()).await?;
        create(manager, bank_line()).await?;
        add(manager, "payment", number_null("bank_account_id")).await?;
        add(manager, "payment", day_null("banked_on")).await?;
        add(manager, "payment_reversal", number_null("bank_account_id")).await?;
        let mut none = cents("bank_fee_cents");
        none.default(0);
        add(manager, "payment_reversal", none).await?;
        add(manager, "refund", number_null("bank_account_id")).await?;
        indexes(manager).await?;
        let connection = manager.get_connection();
        connection.execute_unprepared(SERIES).await?;
        for statement in guards(manager.get_database_backend()) {
            connection.execute_unprepared(&statement).await?;
        }
        Ok(())
    }
}

/// A shop that is open already gets the series of its deposits; a new one opens with it.
const SERIES: &str = "INSERT INTO number_series (series, prefix, next_number) \
     SELECT 'bank_deposit', 'B-', 1 WHERE EXISTS (SELECT 1 FROM number_series)";

async fn indexes(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let waiting = ["bank_account_id", "reversed_on", "method", "id"];
    index(manager, "payment", &waiting).await?;
    index(manager, "payment_reversal", &["reversed_on"]).await?;
    unique(manager, "bank_deposit", &["number"]).await?;
    index(manager, "bank_deposit", &["account_id"]).await?;
    index(manager, "bank_deposit", &["recorded_by"]).await?;
    index(manager, "bank_deposit", &["undone_by"]).await?;
    unique(manager, "bank_deposit_line", &["standing_payment_id"]).await?;
    index(manager, "bank_deposit_line", &["deposit_id"]).await?;
    index(manager, "bank_deposit_line", &["payment_id"]).await?;
    index(manager, "bank_layout", &["changed_by"]).await?;
    index(manager, "bank_statement", &["account_id"]).await?;
    index(manager, "bank_statement", &["imported_by"]).await?;
    index(manager, "bank_match", &["account_id"]).await?;
    index(manager, "bank_match", &["made_by"]).await?;
    index(manager, "bank_match_posting", &["match_id"]).await?;
    let days = ["account_id", "through_on"];
    index(manager, "bank_reconciliation", &days).await?;
    index(manager, "bank_reconciliation", &["recorded_by"]).await?;
    index(manager, "bank_reconciliation", &["reopened_by"]).await?;
    let once = ["account_id", "same_key", "occurrence"];
    unique(manager, "bank_line", &once).await?;
    let by_day = ["account_id", "booked_on", "id"];
    index(manager, "bank_line", &by_day).await?;
    let open = ["account_id", "match_id", "booked_on", "id"];
    index(manager, "bank_line", &open).await?;
    let unsettled = ["account_id", "reconciliation_id", "booked_on"];
    index(manager, "bank_line", &unsettled).await?;
    index(manager, "bank_line", &["statement_id"]).await?;
    index(manager, "bank_line", &["match_id"]).await?;
    index(manager, "bank_line", &["reconciliation_id"]).await
}

/// Receipts that went to the bank together.
fn bank_deposit() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("bank_deposit")
        .col(id())
        .col(text("number"))
        .col(number("account_id"))
        .foreign_key(&mut reference("bank_deposit", "account_id", "account"))
        .col(day("deposited_on"))
        .col(text_null("reference"))
        .col(cents("receipts_cents"))
        .col(cents("fee_cents"))
        .col(instant("recorded_at"))
        .col(number("recorded_by"))
        .foreign_key(&mut reference("bank_deposit", "recorded_by", "staff"))
        .col(day_null("undone_on"))
        .col(text_null("undone_because"))
        .col(instant_null("undone_at"))
        .col(number_null("undone_by"))
        .foreign_key(&mut reference("bank_deposit", "undone_by", "staff"))
        .check(Expr::cust("receipts_cents > 0"))
        .check(Expr::cust("fee_cents >= 0"))
        .check(Expr::cust("fee_cents <= receipts_cents"));
    table
}

/// One payment of a deposit. While the deposit stands, the payment is named twice: the second time once in the table.
fn bank_deposit_line() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("bank_deposit_line")
        .col(id())
        .col(number("deposit_id"))
        .foreign_key(&mut reference(
            "bank_deposit_line",
            "deposit_id",
            "bank_deposit",
        ))
        .col(number("payment_id"))
        .foreign_key(&mut reference("bank_deposit_line", "payment_id", "payment"))
        .col(number_null("standing_payment_id"))
        .foreign_key(&mut reference(
            "bank_deposit_line",
            "standing_payment_id",
            "payment",
        ))
        .col(cents("amount_cents"))
        .col(cents("fee_cents"))
        .check(Expr::cust("amount_cents > 0"))
        .check(Expr::cust("fee_cents >= 0"))
        .check(Expr::cust("fee_cents <= amount_cents"))
        .check(Expr::cust(
            "standing_payment_id IS NULL OR standing_payment_id = payment_id",
        ));
    table
}

/// How the files of a bank are read.
fn bank_layout() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("bank_layout")
        .col(number("account_id").primary_key())
        .foreign_key(&mut reference("bank_layout", "account_id", "account"))
        .col(text("delimiter"))
        .col(yes_no("has_header"))
        .col(text("encoding"))
        .col(text("date_order"))
        .col(text("decimal_sign"))
        .col(text("columns_json"))
        .col(whole("near_days"))
        .col(instant("changed_at"))
        .col(number("changed_by"))
        .foreign_key(&mut reference("bank_layout", "changed_by", "staff"))
        .col(whole("version"))
        .check(one_of("delimiter", &["comma", "semicolon", "tab", "bar"]))
        .check(one_of("encoding", &["utf_8", "windows_1252"]))
        .check(one_of(
            "date_order",
            &["year_month_day", "month_day_year", "day_month_year"],
        ))
        .check(one_of("decimal_sign", &["point", "comma"]))
        .check(Expr::cust("near_days >= 0"));
    table
}

/// One file of a bank that was taken in.
fn bank_statement() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("bank_statement")
        .col(id())
        .col(number("account_id"))
        .foreign_key(&mut reference("bank_statement", "account_id", "account"))
        .col(text("content_hash"))
        .col(whole("line_count"))
        .col(whole("known_count"))
        .col(day("first_on"))
        .col(day("last_on"))
        .col(instant("imported_at"))
        .col(number("imported_by"))
        .foreign_key(&mut reference("bank_statement", "imported_by", "staff"));
    table
}

/// Lines of the bank and postings of the books that are the same money.
fn bank_match() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("bank_match")
        .col(id())
        .col(number("account_id"))
        .foreign_key(&mut reference("bank_match", "account_id", "account"))
        .col(text("reason"))
        .col(instant("made_at"))
        .col(number("made_by"))
        .foreign_key(&mut reference("bank_match", "made_by", "staff"));
    table
}

/// A posting is in one match at most.
fn bank_match_posting() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("bank_match_posting")
        .col(number("posting_id").primary_key())
        .foreign_key(&mut reference(
            "bank_match_posting",
            "posting_id",
            "posting",
        ))
        .col(number("match_id"))
        .foreign_key(&mut reference(
            "bank_match_posting",
            "match_id",
            "bank_match",
        ));
    table
}

/// A statement of the bank through a day that the books agree with.
fn bank_reconciliation() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("bank_reconciliation")
        .col(id())
        .col(number("account_id"))
        .foreign_key(&mut reference(
            "bank_reconciliation",
            "account_id",
            "account",
        ))
        .col(day("through_on"))
        .col(cents("opening_cents"))
        .col(cents("lines_cents"))
        .col(cents("closing_cents"))
        .col(instant("recorded_at"))
        .col(number("recorded_by"))
        .foreign_key(&mut reference(
            "bank_reconciliation",
            "recorded_by",
            "staff",
        ))
        .col(instant_null("reopened_at"))
        .col(text_null("reopened_because"))
        .col(number_null("reopened_by"))
        .foreign_key(&mut reference(
            "bank_reconciliation",
            "reopened_by",
            "staff",
        ))
        .check(Expr::cust("opening_cents + lines_cents = closing_cents"));
    table
}

/// One line of a bank's statement. Its words are kept as they came; what it is matched to is added.
fn bank_line() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("bank_line")
        .col(id())
        .col(number("account_id"))
        .foreign_key(&mut reference("bank_line", "account_id", "account"))
        .col(number_null("statement_id"))
        .foreign_key(&mut reference(
            "bank_line",
            "statement_id",
            "bank_statement",
        ))
        .col(whole_null("file_line"))
        .col(day("booked_on"))
        .col(cents("amount_cents"))
        .col(text("words"))
        .col(text_null("payee"))
        .col(text_null("reference"))
        .col(text_null("bank_key"))
        .col(cents_null("balance_cents"))
        .col(text("same_key"))
        .col(whole("occurrence"))
        .col(number_null("match_id"))
        .foreign_key(&mut reference("bank_line", "match_id", "bank_match"))
        .col(number_null("reconciliation_id"))
        .foreign_key(&mut reference(
            "bank_line",
            "reconciliation_id",
            "bank_reconciliation",
        ))
        .check(Expr::cust("amount_cents <> 0"))
        .check(Expr::cust("occurrence > 0"))
        .check(Expr::cust(
            "reconciliation_id IS NULL OR match_id IS NOT NULL",
        ));
    table
}

/// What was deposited, and what a bank wrote, stays as it is; a matched line stays at all.
fn guards(backend: DatabaseBackend) -> Vec<String> {
    let deposit = "number, account_id, deposited_on, receipts_cents, fee_cents";
    let line = "account_id, booked_on, amount_cents, words, same_key, occurrence";
    let guards = [
        ("bank_deposit_update", format!("UPDATE OF {deposit}"), ""),
        ("bank_deposit_delete", "DELETE".to_owned(), ""),
        ("bank_line_update", format!("UPDATE OF {line}"), ""),
        (
            "bank_line_delete",
            "DELETE".to_owned(),
            "WHEN (old.match_id IS NOT NULL)",
        ),
    ];
    let guard = |(name, act, when): (&str, String, &str)| {
        let table = name.rsplit_once('_').map_or(name, |(table, _)| table);
        match backend {
            DatabaseBackend::Sqlite => format!(
                "CREATE TRIGGER keep_{name} BEFORE {act} ON {table} {when} \
                 BEGIN SELECT RAISE(ABORT, '{table} is never changed'); END"
            ),
            _ => format!(
                "CREATE TRIGGER keep_{name} BEFORE {act} ON {table} FOR EACH ROW {when} \
                 EXECUTE FUNCTION keep_as_written()"
            ),
        }
    };
    guards.into_iter().map(guard).collect()
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
