//! How often a kind of repair was done and came back: the measure beside a flag.
//!
//! Counted for each component and failure: `repairs` is the number of completed calls that repaired it, each call once;
//! `returned` is the number of these whose machine has another completed call that repaired the same, so it is `repairs`
//! less the number of machines. `first_days` adds up the day of each machine's first such repair, which with the number of
//! machines says for how long they have been watched for its return. None of it hangs on the order in which calls are
//! completed, and [`recount`] works it out anew from the records.

use chrono::NaiveDate;
use nameplate_entities::kinds::CallState;
use nameplate_entities::repair_tally::{ActiveModel, Column, Entity, Model};
use nameplate_entities::{finding, service_call};
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Query, SelectStatement};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, DbBackend, EntityTrait,
    FromQueryResult, IntoActiveModel, Order, QueryFilter,
};

use crate::base::{Error, Result, joined};
use crate::warranty::{self, Repair};

use super::store::{self, Failure};

/// The shop's count of this kind of repair; no row while there was none.
pub async fn find(db: &impl ConnectionTrait, repair: Repair) -> Result<Option<Model>> {
    Ok(Entity::find()
        .filter(Column::ComponentId.eq(repair.component_id))
        .filter(Column::FailureModeId.eq(repair.failure_mode_id))
        .one(db)
        .await?)
}

/// Counts the repairs of a call that completes in this transaction.
///
/// # Errors
/// Internal only.
pub async fn count(
    tx: &impl ConnectionTrait,
    call: &service_call::Model,
    repairs: &[Repair],
) -> Result<()> {
    let on = call
        .completed_on
        .ok_or_else(|| Error::internal("a call is counted before it is completed"))?;
    for repair in repairs {
        let failure = Failure {
            appliance_id: call.appliance_id,
            of: *repair,
        };
        let before = first_repair(tx, failure, call.id).await?;
        let returned = i64::from(before.is_some());
        let first_days = earlier_start(before, on);
        match find(tx, *repair).await? {
            Some(row) => {
                let (repairs, returned) = (row.repairs + 1, row.returned + returned);
                let first_days = row.first_days + first_days;
                let mut row = row.into_active_model();
                row.repairs = Set(repairs);
                row.returned = Set(returned);
                row.first_days = Set(first_days);
                row.update(tx).await?;
            }
            None => {
                ActiveModel {
                    component_id: Set(repair.component_id),
                    failure_mode_id: Set(repair.failure_mode_id),
                    repairs: Set(1),
                    returned: Set(returned),
                    first_days: Set(first_days),
                    ..Default::default()
                }
                .insert(tx)
                .await?;
            }
        }
    }
    Ok(())
}

/// A day as a number that can be added up: days since 1970-01-01.
pub fn day_number(on: NaiveDate) -> i64 {
    (on - NaiveDate::default()).num_days()
}

/// What a repair on this day adds to the days of first repairs: its own where it is the machine's first, and otherwise only
/// by how much it lies before the one that was the first.
fn earlier_start(before: Option<NaiveDate>, on: NaiveDate) -> i64 {
    before.map_or_else(
        || day_number(on),
        |first| std::cmp::Ord::min((on - first).num_days(), 0),
    )
}

/// The day of the first other completed call that repaired this failure on this machine.
async fn first_repair(
    db: &impl ConnectionTrait,
    failure: Failure,
    call_id: i64,
) -> Result<Option<NaiveDate>> {
    let completed_on = (service_call::Entity, service_call::Column::CompletedOn);
    let mut query = store::repairs_on_machine(failure, call_id);
    query
        .expr_as(Expr::col(completed_on), Alias::new("completed_on"))
        .order_by(completed_on, Order::Asc)
        .limit(1);
    let row = joined::all::<Repaired>(db, &query).await?;
    Ok(row.first().map(|row| row.completed_on))
}

#[derive(FromQueryResult)]
struct Repaired {
    completed_on: NaiveDate,
}

/// One kind of repair as counted from the records.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, FromQueryResult)]
pub struct Count {
    pub component_id: i64,
    pub failure_mode_id: i64,
    pub repairs: i64,
    pub returned: i64,
    pub first_days: i64,
}

/// Counts every kind of repair anew, for `verify` to compare with the rows. It reads the whole history.
///
/// # Errors
/// Internal only.
pub async fn recount(db: &impl ConnectionTrait) -> Result<Vec<Count>> {
    let first_day = match db.get_database_backend() {
        DbBackend::Postgres => "first_on - DATE '1970-01-01'",
        _ => "CAST(julianday(first_on) - 2440587.5 AS INTEGER)",
    };
    let sum = |of: Expr| of.sum().cast_as("BIGINT");
    let mut counts = Query::select();
    counts
        .columns(["component_id", "failure_mode_id"])
        .expr_as(sum(Expr::col("repairs")), Alias::new("repairs"))
        .expr_as(sum(Expr::col("repairs").sub(1)), Alias::new("returned"))
        .expr_as(sum(Expr::cust(first_day)), Alias::new("first_days"))
        .from_subquery(repairs_by_machine(), "machines")
        .group_by_columns(["component_id", "failure_mode_id"])
        .order_by_columns([
            ("component_id", Order::Asc),
            ("failure_mode_id", Order::Asc),
        ]);
    joined::all(db, &counts).await
}

/// Completed calls that repaired a kind of failure, and the first of them, for each machine.
fn repairs_by_machine() -> SelectStatement {
    let mut repaired = Query::select();
    repaired
        .distinct()
        .columns([
            (service_call::Entity, service_call::Column::Id),
            (service_call::Entity, service_call::Column::ApplianceId),
            (service_call::Entity, service_call::Column::CompletedOn),
        ])
        .columns([
            (finding::Entity, finding::Column::ComponentId),
            (finding::Entity, finding::Column::FailureModeId),
        ])
        .from(finding::Entity)
        .inner_join(
            service_call::Entity,
            Expr::col((service_call::Entity, service_call::Column::Id))
                .equals((finding::Entity, finding::Column::CallId)),
        )
        .and_where(service_call::Column::State.eq(CallState::Completed))
        .cond_where(warranty::is_repair());
    let kind = ["component_id", "failure_mode_id"];
    let mut machines = Query::select();
    machines
        .columns(kind)
        .expr_as(Expr::col("id").count(), Alias::new("repairs"))
        .expr_as(Expr::col("completed_on").min(), Alias::new("first_on"))
        .from_subquery(repaired, "repaired")
        .group_by_columns(kind)
        .group_by_col("appliance_id");
    machines
}
