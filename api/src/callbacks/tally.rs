//! How often a kind of repair was done and came back: the measure beside a flag.
//!
//! Counted for each component and failure: `repairs` is the number of completed calls that repaired it, each call once;
//! `returned` is the number of these whose machine has another completed call that repaired the same, so it is `repairs`
//! less the number of machines. That does not hang on the order in which calls are completed, and [`recount`] works it
//! out anew from the records.

use nameplate_entities::kinds::CallState;
use nameplate_entities::repair_tally::{ActiveModel, Column, Entity, Model};
use nameplate_entities::{finding, service_call};
use sea_orm::sea_query::{Alias, Expr, ExprTrait, Query};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult,
    IntoActiveModel, QueryFilter,
};

use crate::base::{Result, joined};
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
    for repair in repairs {
        let failure = Failure {
            appliance_id: call.appliance_id,
            of: *repair,
        };
        let returned = i64::from(is_repeat(tx, failure, call.id).await?);
        match find(tx, *repair).await? {
            Some(row) => {
                let (repairs, returned) = (row.repairs + 1, row.returned + returned);
                let mut row = row.into_active_model();
                row.repairs = Set(repairs);
                row.returned = Set(returned);
                row.update(tx).await?;
            }
            None => {
                ActiveModel {
                    component_id: Set(repair.component_id),
                    failure_mode_id: Set(repair.failure_mode_id),
                    repairs: Set(1),
                    returned: Set(returned),
                    ..Default::default()
                }
                .insert(tx)
                .await?;
            }
        }
    }
    Ok(())
}

/// Whether another completed call repaired this failure on this machine.
async fn is_repeat(db: &impl ConnectionTrait, failure: Failure, call_id: i64) -> Result<bool> {
    let mut query = store::repairs_on_machine(failure, call_id);
    query.expr(Expr::val(1)).limit(1);
    Ok(db.query_one(&query).await?.is_some())
}

/// One kind of repair as counted from the records.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, FromQueryResult)]
pub struct Count {
    pub component_id: i64,
    pub failure_mode_id: i64,
    pub repairs: i64,
    pub returned: i64,
}

/// Counts every kind of repair anew, for `verify` to compare with the rows. It reads the whole history.
///
/// # Errors
/// Internal only.
pub async fn recount(db: &impl ConnectionTrait) -> Result<Vec<Count>> {
    let mut repaired = Query::select();
    repaired
        .distinct()
        .columns([
            (service_call::Entity, service_call::Column::Id),
            (service_call::Entity, service_call::Column::ApplianceId),
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
    let mut counts = Query::select();
    counts
        .columns(["component_id", "failure_mode_id"])
        .expr_as(Expr::col("id").count(), Alias::new("repairs"))
        .expr_as(
            Expr::col("id")
                .count()
                .sub(Expr::col("appliance_id").count_distinct()),
            Alias::new("returned"),
        )
        .from_subquery(repaired, "repaired")
        .group_by_columns(["component_id", "failure_mode_id"])
        .order_by_columns([
            ("component_id", sea_orm::Order::Asc),
            ("failure_mode_id", sea_orm::Order::Asc),
        ]);
    joined::all(db, &counts).await
}
