//! A shop that began with the first version goes on with this one, with all its rows.

use nameplate_migration::{Migrator, MigratorTrait};
use sea_orm::{ConnectionTrait, DatabaseConnection, DbBackend, Statement};
use serde_json::json;

use crate::support::database::{Backend, TestDatabase};
use crate::support::graphql::{at, data};
use crate::support::server::{Role, Server, ServerOptions};

/// Five calls from estimate to payment, as the first version left them.
const ROWS: &str = include_str!("../../fixtures/shop/first-version.sql");

/// Steps of the schema that the first version had.
const FIRST_VERSION: u32 = 10;

/// Tables whose rows must all be there after the upgrade; some are built anew by it.
const KEPT: [&str; 12] = [
    "outbox_mail",
    "estimate_revision",
    "estimate_option",
    "estimate_line",
    "estimate_link",
    "invoice",
    "invoice_line",
    "posting",
    "payment",
    "tax_level",
    "taxability",
    "part",
];

#[tokio::test]
async fn a_shop_of_the_first_version_keeps_every_row_on_sqlite() {
    upgraded(TestDatabase::empty_sqlite()).await;
}

#[tokio::test]
async fn a_shop_of_the_first_version_keeps_every_row_on_postgres() {
    upgraded(TestDatabase::empty_postgres().await).await;
}

async fn upgraded(db: TestDatabase) {
    let connection = db.connect().await;
    Migrator::up(&connection, Some(FIRST_VERSION))
        .await
        .expect("the first version's schema");
    connection
        .execute_unprepared(ROWS)
        .await
        .expect("the first version's rows");
    if db.backend() == Backend::Postgres {
        count_on_from_the_rows(&connection).await;
    }
    let before = counts(&connection).await;
    connection.close().await.expect("a closed connection");

    db.migrate();

    let connection = db.connect().await;
    assert_eq!(counts(&connection).await, before);
    // What was issued is still kept as it is, also where its table was built anew.
    for sql in [
        "UPDATE invoice SET total_cents = 1",
        "DELETE FROM posting",
        "DELETE FROM allocation",
    ] {
        let refused = connection.execute_unprepared(sql).await;
        assert!(refused.is_err(), "{sql} was let through");
    }
    connection.close().await.expect("a closed connection");
    db.verify_is_clean();
    its_repairs_are_on_the_track_record(&db).await;
    db.verify_is_clean();
}

/// What the first version did not keep is worked out from its calls.
async fn its_repairs_are_on_the_track_record(db: &TestDatabase) {
    let mut server = Server::start(db, ServerOptions::default()).await;
    let owner = server.token(Role::Owner).await;
    let query = "{ repairRates(by: TECHNICIAN, from: \"2024-11-01\", through: \"2024-12-31\") {
        counts { repairs returned } lost groups { label counts { repairs } } } }";
    let answer = server.graphql(Some(&owner), query, json!({})).await;
    let rates = at(data(&answer), "repairRates");
    assert_eq!(*at(rates, "counts"), json!({ "repairs": 5, "returned": 0 }));
    assert_eq!(*at(rates, "lost"), json!("0.00"));
    let of = |name: &str, repairs: u32| json!({ "label": name, "counts": { "repairs": repairs } });
    let groups = json!([
        of("Petra Quill", 3),
        of("Bram Ostler", 1),
        of("Ives Calder", 1)
    ]);
    assert_eq!(*at(rates, "groups"), groups);
}

async fn counts(connection: &DatabaseConnection) -> Vec<(&'static str, i64)> {
    let mut counts = Vec::new();
    for table in KEPT {
        let statement = Statement::from_string(
            connection.get_database_backend(),
            format!("SELECT count(*) FROM {table}"),
        );
        let row = connection.query_one_raw(statement).await;
        let row = row.expect("a count").expect("a row");
        let count: i64 = row.try_get_by_index(0).expect("a number");
        assert!(count > 0, "{table} is empty, so nothing is shown");
        counts.push((table, count));
    }
    counts
}

/// Lets PostgreSQL's counters go on after the rows that came with their ids.
async fn count_on_from_the_rows(connection: &DatabaseConnection) {
    let tables = Statement::from_string(
        DbBackend::Postgres,
        "SELECT table_name FROM information_schema.columns WHERE table_schema = 'public' AND column_name = 'id' \
         AND (is_identity = 'YES' OR column_default LIKE 'nextval%')",
    );
    for row in connection.query_all_raw(tables).await.expect("tables") {
        let table: String = row.try_get_by_index(0).expect("a name");
        let sql = format!(
            "SELECT setval(pg_get_serial_sequence('{table}', 'id'), (SELECT coalesce(max(id), 0) + 1 FROM {table}), false)"
        );
        connection
            .execute_unprepared(&sql)
            .await
            .expect("a counter");
    }
}
