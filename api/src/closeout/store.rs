//! What closing a call reads of the work done on it.

use nameplate_entities::{finding, part_used, remedy};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Condition, Expr, ExprTrait, Query};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QuerySelect};

use crate::base::{Error, Result};
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

/// What the parts fitted on the call cost the shop, each at the cost of its day.
pub async fn parts_cost(db: &impl ConnectionTrait, call_id: i64) -> Result<Cents> {
    let remedies = Query::select()
        .column((remedy::Entity, remedy::Column::Id))
        .from(finding::Entity)
        .inner_join(
            remedy::Entity,
            Expr::col((remedy::Entity, remedy::Column::FindingId))
                .equals((finding::Entity, finding::Column::Id)),
        )
        .and_where(finding::Column::CallId.eq(call_id))
        .to_owned();
    let used = part_used::Entity::find()
        .filter(part_used::Column::RemedyId.in_subquery(remedies))
        .all(db)
        .await?;
    Cents::sum(used.iter().map(|row| Cents(row.cost_cents)))
        .map_err(|error| Error::caused("cost of the parts of a call", error))
}
