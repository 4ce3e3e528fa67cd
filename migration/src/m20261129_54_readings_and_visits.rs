//! Readings that can be made into pairs, with what the joint behind them hangs on; why a call needed another visit; and
//! calls by the day they were completed.

use sea_orm_migration::prelude::*;

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
        // Readings that are there say nothing of all this: it was not asked.
        for column in of_reading() {
            add(manager, "reading", column).await?;
        }
        let mut reason = text_null("reason");
        reason.check(one_of("reason", &REASONS));
        add(manager, "visit", reason).await?;
        add(manager, "visit", text_null("reason_note")).await?;
        index(manager, "service_call", &["completed_on"]).await
    }
}

const REASONS: [&str; 8] = [
    "part_ordered",
    "wrong_part",
    "more_time",
    "not_home",
    "customer_decides",
    "no_access",
    "second_person",
    "other",
];

fn of_reading() -> [ColumnDef; 10] {
    let mut circuit = text_null("circuit");
    circuit.check(one_of("circuit", &["open", "loaded"]));
    let mut across = text_null("across");
    across.check(one_of("across", &["supply", "joint"]));
    [
        circuit,
        across,
        exact_null("supply_volts"),
        yes_no_null("part_resistive"),
        exact_null("part_volts"),
        exact_null("part_watts"),
        exact_null("part_amps"),
        whole_null("insulation_c"),
        whole_null("terminals_c"),
        whole_null("breaker_amps"),
    ]
}
