//! What closing a call reads of the work done on it.

use nameplate_entities::{finding, remedy};
use sea_orm::sea_query::{Condition, Expr, ExprTrait, Query};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QuerySelect};

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
