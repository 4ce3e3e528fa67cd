//! For how long machines are watched after a repair, so that a flag can say how rare it is.

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
        let mut first_days = number("first_days");
        first_days.default(0);
        add(manager, "repair_tally", first_days).await?;
        let day_number = match manager.get_database_backend() {
            DatabaseBackend::Postgres => "first_on - DATE '1970-01-01'",
            _ => "CAST(julianday(first_on) - 2440587.5 AS INTEGER)",
        };
        let fill = format!(
            "UPDATE repair_tally SET first_days = COALESCE((SELECT CAST(SUM({day_number}) AS BIGINT) FROM \
             (SELECT MIN(c.completed_on) AS first_on FROM finding f JOIN service_call c ON c.id = f.call_id \
             JOIN failure_mode m ON m.id = f.failure_mode_id WHERE f.component_id = repair_tally.component_id \
             AND f.failure_mode_id = repair_tally.failure_mode_id AND c.state = 'completed' \
             AND m.key <> 'no_fault_found' AND EXISTS (SELECT 1 FROM remedy r WHERE r.finding_id = f.id \
             AND r.method <> 'none') GROUP BY c.appliance_id) AS first_repairs), 0)"
        );
        manager.get_connection().execute_unprepared(&fill).await?;
        // What a flag about one machine is measured by; empty for those raised before.
        add(manager, "flag", number_null("again")).await?;
        add(manager, "flag", number_null("own_days")).await?;
        add(manager, "flag", number_null("watched_days")).await
    }
}
