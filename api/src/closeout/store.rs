//! What closing a call reads of the work done on it.

use nameplate_entities::kinds::VisitState;
use nameplate_entities::{finding, remedy, visit, visit_call};
use sea_orm::sea_query::{Condition, Expr, ExprTrait, Query};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, PaginatorTrait, QueryFilter, QuerySelect,
};

use crate::base::Result;
use crate::warranty;

/// Whether something was written down as done about a finding of the call, or no fault was found.
pub async fn is_dealt_with(db: &impl ConnectionTrait, call_id: i64) -> Result<bool> {
    let remedied = Query::select()
        .expr(Expr::val(1))
        .from(remedy::Entity)
        .and_where(
            Expr::col((remedy::Entity, remedy::Column::FindingId))
                .equals((finding::Entity, finding::Column::Id)),
        )
        .to_owned();
    Ok(finding::Entity::find()
        .filter(finding::Column::CallId.eq(call_id))
        .filter(
            Condition::any()
                .add(Expr::exists(remedied))
                .add(warranty::is_no_fault()),
        )
        .limit(1)
        .one(db)
        .await?
        .is_some())
}

/// How many visits of a call were made.
pub async fn trips_made(db: &impl ConnectionTrait, call_id: i64) -> Result<u64> {
    let own = Query::select()
        .column(visit_call::Column::VisitId)
        .from(visit_call::Entity)
        .and_where(visit_call::Column::CallId.eq(call_id))
        .to_owned();
    Ok(visit::Entity::find()
        .filter(visit::Column::Id.in_subquery(own))
        .filter(visit::Column::State.eq(VisitState::Done))
        .count(db)
        .await?)
}
