//! What closing a call reads of the work done on it.

use chrono::NaiveDate;
use nameplate_entities::kinds::VisitState;
use nameplate_entities::{call_borne, finding, remedy, visit, visit_call};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Condition, Expr, ExprTrait, Query};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, PaginatorTrait, QueryFilter,
    QueryOrder, QuerySelect, Statement, Value,
};

use crate::base::Result;
use crate::{books, warranty};

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

#[derive(FromQueryResult)]
struct Sums {
    parts: i64,
    labour: i64,
}

async fn sums(
    db: &impl ConnectionTrait,
    sql: &str,
    values: impl IntoIterator<Item = Value>,
) -> Result<(Cents, Cents)> {
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    let row = Sums::find_by_statement(statement).one(db).await?;
    Ok(row.map_or((Cents::ZERO, Cents::ZERO), |row| {
        (Cents(row.parts), Cents(row.labour))
    }))
}

/// The minutes of work on record for a call.
pub async fn minutes_worked(db: &impl ConnectionTrait, call_id: i64) -> Result<i64> {
    let minutes: Option<Option<i64>> = remedy::Entity::find()
        .select_only()
        .column_as(remedy::Column::LabourMinutes.sum(), "minutes")
        .filter(
            remedy::Column::FindingId.in_subquery(
                Query::select()
                    .column(finding::Column::Id)
                    .from(finding::Entity)
                    .and_where(finding::Column::CallId.eq(call_id))
                    .to_owned(),
            ),
        )
        .into_tuple()
        .one(db)
        .await?;
    Ok(minutes.flatten().unwrap_or_default())
}

/// What an hour of labour cost when the shop first bore some of a call; none where that was not kept.
pub async fn labour_hour_of(db: &impl ConnectionTrait, call_id: i64) -> Result<Option<Cents>> {
    let row = call_borne::Entity::find()
        .filter(call_borne::Column::CallId.eq(call_id))
        .filter(call_borne::Column::LabourHourCents.is_not_null())
        .order_by_asc(call_borne::Column::Id)
        .one(db)
        .await?;
    Ok(row.and_then(|row| row.labour_hour_cents).map(Cents))
}

/// What the parts fitted on a call cost.
pub async fn parts_cost(db: &impl ConnectionTrait, call_id: i64) -> Result<Cents> {
    let sql = "SELECT CAST(COALESCE(SUM(u.cost_cents), 0) AS BIGINT) AS parts, CAST(0 AS BIGINT) AS labour \
         FROM finding f JOIN remedy r ON r.finding_id = f.id JOIN part_used u ON u.remedy_id = r.id \
         WHERE f.call_id = $1";
    Ok(sums(db, sql, [call_id.into()]).await?.0)
}

/// What the shop was made to bear of a call so far, parts and labour, with what came back of parts that were its own, or was
/// settled of them.
pub async fn borne_so_far(db: &impl ConnectionTrait, call_id: i64) -> Result<(Cents, Cents)> {
    let sql = "SELECT CAST(COALESCE(SUM(parts), 0) AS BIGINT) AS parts, \
         CAST(COALESCE(SUM(labour), 0) AS BIGINT) AS labour FROM \
         (SELECT parts_cents AS parts, labour_cents AS labour FROM call_borne WHERE call_id = $1 \
         UNION ALL SELECT -m.value_cents, 0 FROM stock_move m JOIN account a ON a.id = m.account_id \
         WHERE m.call_id = $1 AND m.kind IN ('taken_back', 'settled') AND a.role = $2) t";
    sums(db, sql, [call_id.into(), of_callbacks()]).await
}

/// The same of all calls by the days on which it came about.
pub async fn borne_between(
    db: &impl ConnectionTrait,
    (from, through): (NaiveDate, NaiveDate),
) -> Result<(Cents, Cents)> {
    let sql = "SELECT CAST(COALESCE(SUM(parts), 0) AS BIGINT) AS parts, \
         CAST(COALESCE(SUM(labour), 0) AS BIGINT) AS labour FROM \
         (SELECT parts_cents AS parts, labour_cents AS labour FROM call_borne \
         WHERE borne_on >= $1 AND borne_on <= $2 \
         UNION ALL SELECT -m.value_cents, 0 FROM stock_move m JOIN account a ON a.id = m.account_id \
         WHERE m.call_id IS NOT NULL AND m.kind IN ('taken_back', 'settled') AND a.role = $3 \
         AND m.moved_on >= $1 AND m.moved_on <= $2) t";
    sums(db, sql, [from.into(), through.into(), of_callbacks()]).await
}

fn of_callbacks() -> Value {
    books::role_key(Role::CallbackCost).into()
}
