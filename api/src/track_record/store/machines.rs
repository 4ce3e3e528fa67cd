//! The machines of one model, and when each was repaired.

use chrono::NaiveDate;
use nameplate_entities::kinds::Dimension;
use nameplate_entities::{repair_group, repair_outcome};
use sea_orm::sea_query::{Expr, ExprTrait, Order, Query};
use sea_orm::{ColumnTrait, ConnectionTrait, FromQueryResult};

use crate::base::{Result, joined};

/// A completed repair of a machine.
#[derive(Clone, Debug, PartialEq, Eq, FromQueryResult)]
pub struct Repaired {
    pub appliance_id: i64,
    pub component_id: i64,
    pub completed_on: NaiveDate,
}

/// Repairs of the machines of a model, machine by machine, the earliest first; at most so many.
pub async fn of_model(
    db: &impl ConnectionTrait,
    model: &str,
    repairs_max: u64,
) -> Result<Vec<Repaired>> {
    let outcome = |column: repair_outcome::Column| Expr::col((repair_outcome::Entity, column));
    let mut query = Query::select();
    query
        .columns([
            (repair_outcome::Entity, repair_outcome::Column::ApplianceId),
            (repair_outcome::Entity, repair_outcome::Column::ComponentId),
            (repair_outcome::Entity, repair_outcome::Column::CompletedOn),
        ])
        .from(repair_group::Entity)
        .inner_join(
            repair_outcome::Entity,
            outcome(repair_outcome::Column::CallId)
                .equals((repair_group::Entity, repair_group::Column::CallId)),
        )
        .and_where(repair_group::Column::Dimension.eq(Dimension::Model))
        .and_where(repair_group::Column::GroupKey.eq(model))
        .order_by_expr(outcome(repair_outcome::Column::ApplianceId), Order::Asc)
        .order_by_expr(outcome(repair_outcome::Column::CompletedOn), Order::Asc)
        .order_by_expr(outcome(repair_outcome::Column::CallId), Order::Asc)
        .limit(repairs_max);
    joined::all(db, &query).await
}
