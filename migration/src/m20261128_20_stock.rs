//! Parts stock: places, quantities, values in layers, the moves that made them, and parts on order.
//!
//! What the books said of parts stock so far named no part: it becomes value that is not yet assigned to parts. Parts
//! that were fitted came from somewhere, so each is entered as having come in at the cost it left at.

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
        for table in [
            place(),
            terms(),
            level(),
            holding(),
            layer(),
            part_order(),
            stock_move(),
            unbilled_receipt(),
        ] {
            create(manager, table).await?;
        }
        add(manager, "part_used", number_null("place_id")).await?;
        indexes(manager).await?;
        for statement in FILLED {
            manager
                .get_connection()
                .execute_unprepared(statement)
                .await?;
        }
        keep(manager, "stock_move").await
    }
}

/// A first shelf, the usual method, and what the rows there are say about stock.
const FILLED: [&str; 6] = [
    "INSERT INTO stock_place (name, name_key, kind, is_main, version) VALUES ('Shelf', 'shelf', 'shelf', TRUE, 1)",
    "INSERT INTO stock_terms (id, method, version) VALUES (1, 'moving_average', 1)",
    "INSERT INTO number_series (series, prefix, next_number) SELECT 'part_order', 'O-', 1 \
     WHERE EXISTS (SELECT 1 FROM number_series)",
    "INSERT INTO stock_move (kind, moved_on, recorded_at, quantity, value_cents) \
     SELECT 'brought_forward', p.entry_on, MAX(e.posted_at), '0', CAST(SUM(p.debit_cents - p.credit_cents) AS BIGINT) \
     FROM posting p JOIN journal_entry e ON e.id = p.entry_id JOIN account a ON a.id = p.account_id \
     WHERE a.role = 'parts_stock' GROUP BY p.entry_on HAVING SUM(p.debit_cents - p.credit_cents) <> 0 \
     ORDER BY p.entry_on",
    "INSERT INTO stock_move (part_id, place_id, kind, moved_on, recorded_at, quantity, value_cents, place_after, \
     part_after, value_after_cents, call_id, part_used_id) \
     SELECT part_id, place_id, kind, completed_on, completed_at, CASE WHEN kind = 'used' THEN '-' || quantity ELSE quantity END, \
     CASE WHEN kind = 'used' THEN -cost_cents ELSE cost_cents END, \
     CASE WHEN kind = 'used' THEN '0' ELSE quantity END, CASE WHEN kind = 'used' THEN '0' ELSE quantity END, \
     CASE WHEN kind = 'used' THEN 0 ELSE cost_cents END, call_id, \
     CASE WHEN kind = 'used' THEN part_used_id ELSE NULL END FROM (\
     SELECT u.id AS part_used_id, u.part_id, u.quantity, u.cost_cents, c.id AS call_id, c.completed_on, c.completed_at, \
     (SELECT MIN(s.id) FROM stock_place s) AS place_id, k.kind, k.turn FROM part_used u \
     JOIN remedy r ON r.id = u.remedy_id JOIN finding f ON f.id = r.finding_id JOIN service_call c ON c.id = f.call_id \
     CROSS JOIN (SELECT 'brought_forward' AS kind, 1 AS turn UNION ALL SELECT 'used', 2) k \
     WHERE c.state = 'completed') m ORDER BY part_used_id, turn",
    "INSERT INTO stock_level (place_id, part_id, quantity, is_low, version) \
     SELECT DISTINCT place_id, part_id, '0', FALSE, 1 FROM stock_move WHERE part_id IS NOT NULL",
];

async fn indexes(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    unique(manager, "stock_place", &["name_key"]).await?;
    index(manager, "stock_place", &["technician_id"]).await?;
    unique(manager, "stock_level", &["part_id", "place_id"]).await?;
    index(manager, "stock_level", &["place_id"]).await?;
    index(manager, "stock_level", &["is_low"]).await?;
    index(manager, "stock_layer", &["part_id"]).await?;
    unique(manager, "part_order", &["number"]).await?;
    index(manager, "part_order", &["call_id"]).await?;
    index(manager, "part_order", &["part_id"]).await?;
    index(manager, "part_order", &["supplier_id"]).await?;
    index(manager, "part_order", &["state", "expected_on"]).await?;
    index(manager, "part_order", &["ordered_by"]).await?;
    index(manager, "stock_move", &["part_id"]).await?;
    index(manager, "stock_move", &["place_id"]).await?;
    index(manager, "stock_move", &["moved_on"]).await?;
    index(manager, "stock_move", &["call_id"]).await?;
    index(manager, "stock_move", &["part_used_id"]).await?;
    index(manager, "stock_move", &["part_order_id"]).await?;
    index(manager, "stock_move", &["undoes_move_id"]).await?;
    index(manager, "stock_move", &["recorded_by"]).await?;
    index(manager, "unbilled_receipt", &["is_open"]).await?;
    index(manager, "unbilled_receipt", &["supplier_id"]).await?;
    index(manager, "part_used", &["place_id"]).await
}

/// Where parts lie: a shelf, or a van that may be one technician's.
fn place() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("stock_place")
        .col(id())
        .col(text("name"))
        .col(text("name_key"))
        .col(text("kind"))
        .col(number_null("technician_id"))
        .foreign_key(&mut reference("stock_place", "technician_id", "staff"))
        .col(yes_no("is_main"))
        .col(instant_null("retired_at"))
        .col(whole("version"))
        .check(one_of("kind", &["shelf", "van"]))
        .check(Expr::cust("technician_id IS NULL OR kind = 'van'"));
    table
}

/// The one row of the shop's terms about stock.
fn terms() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("stock_terms")
        .col(number("id").primary_key())
        .col(text("method"))
        .col(whole("version"))
        .check(one_of("method", &["moving_average", "first_in_first_out"]));
    table
}

/// How many of a part lie at a place.
fn level() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("stock_level")
        .col(id())
        .col(number("place_id"))
        .foreign_key(&mut reference("stock_level", "place_id", "stock_place"))
        .col(number("part_id"))
        .foreign_key(&mut reference("stock_level", "part_id", "part"))
        .col(exact("quantity"))
        .col(exact_null("reorder_point"))
        .col(yes_no("is_low"))
        .col(whole("version"));
    table
}

/// A part over all places: how many, and what they are worth.
fn holding() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("stock_holding")
        .col(number("part_id").primary_key())
        .foreign_key(&mut reference("stock_holding", "part_id", "part"))
        .col(exact("quantity"))
        .col(cents("value_cents"));
    table
}

/// What a holding is made of, oldest first.
fn layer() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("stock_layer")
        .col(id())
        .col(number("part_id"))
        .foreign_key(&mut reference("stock_layer", "part_id", "part"))
        .col(exact("quantity"))
        .col(cents("value_cents"));
    table
}

/// Parts ordered from a supplier, perhaps for a call that waits for them.
fn part_order() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("part_order")
        .col(id())
        .col(text("number"))
        .col(number("part_id"))
        .foreign_key(&mut reference("part_order", "part_id", "part"))
        .col(exact("quantity"))
        .col(exact("received_quantity"))
        .col(number("supplier_id"))
        .foreign_key(&mut reference("part_order", "supplier_id", "supplier"))
        .col(number_null("call_id"))
        .foreign_key(&mut reference("part_order", "call_id", "service_call"))
        .col(text("state"))
        .col(text_null("reference"))
        .col(day("ordered_on"))
        .col(day_null("expected_on"))
        .col(day_null("closed_on"))
        .col(text_null("closed_because"))
        .col(number("ordered_by"))
        .foreign_key(&mut reference("part_order", "ordered_by", "staff"))
        .col(whole("version"))
        .check(one_of("state", &["ordered", "received", "cancelled"]));
    table
}

/// One change of quantity or value, never changed itself.
fn stock_move() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("stock_move")
        .col(id())
        .col(number_null("part_id"))
        .foreign_key(&mut reference("stock_move", "part_id", "part"))
        .col(number_null("place_id"))
        .foreign_key(&mut reference("stock_move", "place_id", "stock_place"))
        .col(text("kind"))
        .col(day("moved_on"))
        .col(instant("recorded_at"))
        .col(number_null("recorded_by"))
        .foreign_key(&mut reference("stock_move", "recorded_by", "staff"))
        .col(exact("quantity"))
        .col(cents("value_cents"))
        .col(exact_null("place_after"))
        .col(exact_null("part_after"))
        .col(cents_null("value_after_cents"))
        .col(number_null("call_id"))
        .foreign_key(&mut reference("stock_move", "call_id", "service_call"))
        .col(number_null("part_used_id"))
        .foreign_key(&mut reference("stock_move", "part_used_id", "part_used"))
        .col(number_null("part_order_id"))
        .foreign_key(&mut reference("stock_move", "part_order_id", "part_order"))
        .col(number_null("undoes_move_id"))
        .foreign_key(&mut reference("stock_move", "undoes_move_id", "stock_move"))
        .col(number_null("account_id"))
        .foreign_key(&mut reference("stock_move", "account_id", "account"))
        .col(text_null("reason"))
        .check(one_of(
            "kind",
            &[
                "received",
                "used",
                "taken_back",
                "moved",
                "counted",
                "adjusted",
                "sent_back",
                "settled",
                "brought_forward",
                "assigned",
            ],
        ))
        .check(Expr::cust("part_id IS NOT NULL OR quantity = '0'"));
    table
}

/// Parts that came in without a bill, and whether the bill is still to come.
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
        .check(Expr::cust("cost_cents > 0"));
    table
}

/// Adds one column: `SQLite` takes one at a time.
pub(crate) async fn add(
    manager: &SchemaManager<'_>,
    table: &'static str,
    column: ColumnDef,
) -> Result<(), DbErr> {
    let mut change = Table::alter();
    change.table(table).add_column(column);
    manager.alter_table(change).await
}

/// Rows of this table are never changed or deleted once written.
pub(crate) async fn keep(manager: &SchemaManager<'_>, table: &str) -> Result<(), DbErr> {
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
