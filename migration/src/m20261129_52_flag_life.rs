//! What a trip costs the shop and what it bore of trips, callbacks counted by the first confirmed return and
//! rejected with a cancelled call, and the cautions of the shop's own list of checks.

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
        add(manager, "shop", cents_null("trip_cost_cents")).await?;
        trips_can_be_borne(manager).await?;
        let connection = manager.get_connection();
        connection.execute_unprepared(CANCELLED).await?;
        for statement in COUNTED {
            connection.execute_unprepared(statement).await?;
        }
        create(manager, check_caution()).await?;
        unique(
            manager,
            "check_caution",
            &["failure_mode_id", "component_class", "caution_key"],
        )
        .await?;
        connection.execute_unprepared(CAUTIONS).await?;
        let mut change = Table::alter();
        change.table("check_advice").drop_column("caution_key");
        manager.alter_table(change).await
    }
}

/// The callback of a call that was cancelled stayed as it was; who cancelled it rejected it, then.
const CANCELLED: &str = "UPDATE callback SET state = 'rejected', class = NULL, counted_call_id = NULL, \
     note = 'The call was cancelled.', \
     decided_by = COALESCE((SELECT a.staff_id FROM audit_entry a WHERE a.subject_kind = 'service_call' \
     AND a.subject_id = callback.call_id AND a.act = 'cancelCall' ORDER BY a.id DESC LIMIT 1), decided_by), \
     decided_at = COALESCE((SELECT a.at FROM audit_entry a WHERE a.subject_kind = 'service_call' \
     AND a.subject_id = callback.call_id AND a.act = 'cancelCall' ORDER BY a.id DESC LIMIT 1), decided_at) \
     WHERE state <> 'rejected' \
     AND EXISTS (SELECT 1 FROM service_call c WHERE c.id = callback.call_id AND c.state = 'cancelled')";

/// A call was counted by the callback that was confirmed first; it is by the first one that is confirmed
/// and is a return: neither unrelated nor by use, as decided or else as the findings say.
const COUNTED: [&str; 2] = [
    "UPDATE callback SET counted_call_id = NULL",
    "UPDATE callback SET counted_call_id = earlier_call_id WHERE state = 'confirmed' \
     AND COALESCE(class, suggested_class, 'related') NOT IN ('unrelated', 'use') AND NOT EXISTS \
     (SELECT 1 FROM callback f WHERE f.earlier_call_id = callback.earlier_call_id AND f.state = 'confirmed' \
     AND COALESCE(f.class, f.suggested_class, 'related') NOT IN ('unrelated', 'use') AND f.id < callback.id)",
];

/// They stood beside the checks, so that a list had no more cautions than checks.
const CAUTIONS: &str = "INSERT INTO check_caution (failure_mode_id, component_class, caution_key) \
     SELECT DISTINCT failure_mode_id, component_class, caution_key FROM check_advice WHERE caution_key IS NOT NULL";

/// The table is built anew: its constraint knew nothing of trips. Its rows keep their ids, as the audit log names them.
async fn trips_can_be_borne(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    create(manager, call_borne_again()).await?;
    let connection = manager.get_connection();
    connection
        .execute_unprepared(
            "INSERT INTO call_borne_again (id, call_id, borne_on, parts_cents, labour_cents, labour_hour_cents, \
             decision_id, entry_id, settled_at, settled_by) SELECT id, call_id, borne_on, parts_cents, labour_cents, \
             labour_hour_cents, decision_id, entry_id, settled_at, settled_by FROM call_borne ORDER BY id",
        )
        .await?;
    let mut old = Table::drop();
    old.table("call_borne");
    manager.drop_table(old).await?;
    let mut rename = Table::rename();
    rename.table("call_borne_again", "call_borne");
    manager.rename_table(rename).await?;
    if manager.get_database_backend() == DatabaseBackend::Postgres {
        connection
            .execute_unprepared(
                "SELECT setval(pg_get_serial_sequence('call_borne', 'id'), \
                 COALESCE((SELECT MAX(id) FROM call_borne), 0) + 1, false)",
            )
            .await?;
    }
    index(manager, "call_borne", &["call_id", "id"]).await?;
    for column in ["borne_on", "decision_id", "settled_by"] {
        index(manager, "call_borne", &[column]).await?;
    }
    unique(manager, "call_borne", &["entry_id"]).await?;
    keep(manager, "call_borne").await
}

/// What the shop came to bear of a call, or bears no more, each time that was settled. It never changes.
fn call_borne_again() -> TableCreateStatement {
    let of =
        |column: &'static str, table: &'static str| reference("call_borne_again", column, table);
    let mut trip = cents("trip_cents");
    trip.default(0);
    let mut table = Table::create();
    table
        .table("call_borne_again")
        .col(id())
        .col(number("call_id"))
        .foreign_key(&mut of("call_id", "service_call"))
        .col(day("borne_on"))
        .col(cents("parts_cents"))
        .col(cents("labour_cents"))
        .col(trip)
        .col(cents_null("labour_hour_cents"))
        .col(cents_null("trip_each_cents"))
        .col(number_null("decision_id"))
        .foreign_key(&mut of("decision_id", "coverage_decision"))
        .col(number("entry_id"))
        .foreign_key(&mut of("entry_id", "journal_entry"))
        .col(instant("settled_at"))
        .col(number_null("settled_by"))
        .foreign_key(&mut of("settled_by", "staff"))
        .check(Expr::cust(
            "parts_cents <> 0 OR labour_cents <> 0 OR trip_cents <> 0",
        ));
    table
}

/// What to mind when a failure returns, beside what to look at.
fn check_caution() -> TableCreateStatement {
    let mut table = Table::create();
    table
        .table("check_caution")
        .col(id())
        .col(number("failure_mode_id"))
        .foreign_key(&mut reference(
            "check_caution",
            "failure_mode_id",
            "failure_mode",
        ))
        .col(text("component_class"))
        .col(text("caution_key"));
    table
}
