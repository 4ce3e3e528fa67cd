//! What closing a call reads of the work done on it.

use chrono::NaiveDate;
use nameplate_entities::kinds::VisitState;
use nameplate_entities::{call_borne, finding, remedy, visit, visit_call};
use nameplate_rules::books::Role;
use nameplate_rules::books::events::Borne;
use nameplate_rules::coverage::SharedTrip;
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Condition, Expr, ExprTrait, Query};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, PaginatorTrait, QueryFilter,
    QuerySelect, Statement, Value,
};

use crate::base::{Error, Result};
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

/// How each trip made for a call is shared with others.
pub async fn trips_shared(db: &impl ConnectionTrait, call_id: i64) -> Result<Vec<SharedTrip>> {
    #[derive(FromQueryResult)]
    struct Row {
        calls: i64,
        calls_before: i64,
    }
    let sql = "SELECT COUNT(o.id) AS calls, \
         CAST(SUM(CASE WHEN o.call_id < x.call_id THEN 1 ELSE 0 END) AS BIGINT) AS calls_before \
         FROM visit_call x JOIN visit v ON v.id = x.visit_id AND v.state = 'done' \
         JOIN visit_call o ON o.visit_id = v.id WHERE x.call_id = $1 GROUP BY v.id ORDER BY v.id";
    let backend = db.get_database_backend();
    let statement = Statement::from_sql_and_values(backend, sql, [call_id.into()]);
    let rows = Row::find_by_statement(statement).all(db).await?;
    let whole = |count: i64| usize::try_from(count).unwrap_or_default();
    let trip = |row: Row| SharedTrip {
        calls: whole(row.calls),
        before: whole(row.calls_before),
    };
    Ok(rows.into_iter().map(trip).collect())
}

#[derive(FromQueryResult)]
struct Sums {
    parts: i64,
    labour: i64,
    trip: i64,
}

async fn sums(
    db: &impl ConnectionTrait,
    sql: &str,
    values: impl IntoIterator<Item = Value>,
) -> Result<Borne> {
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    let row = Sums::find_by_statement(statement).one(db).await?;
    Ok(row.map_or_else(Borne::default, |row| Borne {
        parts: Cents(row.parts),
        labour: Cents(row.labour),
        trip: Cents(row.trip),
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

/// What an hour and a trip cost when the shop first bore some of a call.
#[derive(FromQueryResult)]
pub struct KeptRates {
    /// None where that was not kept; so too below.
    pub labour_hour_cents: Option<i64>,
    pub trip_each_cents: Option<i64>,
}

/// The rates that a call keeps.
pub async fn rates_of(db: &impl ConnectionTrait, call_id: i64) -> Result<KeptRates> {
    let sql = "SELECT (SELECT labour_hour_cents FROM call_borne WHERE call_id = $1 \
         AND labour_hour_cents IS NOT NULL ORDER BY id LIMIT 1) AS labour_hour_cents, \
         (SELECT trip_each_cents FROM call_borne WHERE call_id = $1 \
         AND trip_each_cents IS NOT NULL ORDER BY id LIMIT 1) AS trip_each_cents";
    let backend = db.get_database_backend();
    let statement = Statement::from_sql_and_values(backend, sql, [call_id.into()]);
    let row = KeptRates::find_by_statement(statement).one(db).await?;
    row.ok_or_else(|| Error::internal("no row of rates"))
}

/// What the parts fitted on a call cost.
pub async fn parts_cost(db: &impl ConnectionTrait, call_id: i64) -> Result<Cents> {
    let sql = "SELECT CAST(COALESCE(SUM(u.cost_cents), 0) AS BIGINT) AS parts, \
         CAST(0 AS BIGINT) AS labour, CAST(0 AS BIGINT) AS trip \
         FROM finding f JOIN remedy r ON r.finding_id = f.id JOIN part_used u ON u.remedy_id = r.id \
         WHERE f.call_id = $1";
    Ok(sums(db, sql, [call_id.into()]).await?.parts)
}

/// What [`sums`] reads of rows that have parts, labour and trip.
const BORNE: &str = "SELECT CAST(COALESCE(SUM(parts), 0) AS BIGINT) AS parts, \
     CAST(COALESCE(SUM(labour), 0) AS BIGINT) AS labour, CAST(COALESCE(SUM(trip), 0) AS BIGINT) AS trip";

/// A statement for what the shop was made to bear, row by row: `call_id`, `borne_on`, `parts`, `labour` and `trip`, with what
/// came back of parts that were its own, or was settled of them. `narrowed` gives the condition on the columns of call and day.
pub fn borne_rows(narrowed: impl Fn(&str, &str) -> String) -> String {
    format!(
        "SELECT b.call_id, b.borne_on, b.parts_cents AS parts, b.labour_cents AS labour, b.trip_cents AS trip \
         FROM call_borne b WHERE {} \
         UNION ALL SELECT m.call_id, m.moved_on, -m.value_cents, 0, 0 \
         FROM stock_move m JOIN account a ON a.id = m.account_id \
         WHERE m.call_id IS NOT NULL AND m.kind IN ('taken_back', 'settled') AND a.role = '{}' AND {}",
        narrowed("b.call_id", "b.borne_on"),
        books::role_key(Role::CallbackCost),
        narrowed("m.call_id", "m.moved_on"),
    )
}

/// Whether the shop was made to bear anything of a call before, though it may bear nothing of it now.
pub async fn was_borne(db: &impl ConnectionTrait, call_id: i64) -> Result<bool> {
    let earlier = call_borne::Entity::find()
        .filter(call_borne::Column::CallId.eq(call_id))
        .limit(1)
        .one(db)
        .await?;
    Ok(earlier.is_some())
}

/// What the shop was made to bear of a call so far.
pub async fn borne_so_far(db: &impl ConnectionTrait, call_id: i64) -> Result<Borne> {
    let rows = borne_rows(|call, _| format!("{call} = $1"));
    sums(db, &format!("{BORNE} FROM ({rows}) t"), [call_id.into()]).await
}

/// The same of all calls by the days on which it came about.
pub async fn borne_between(
    db: &impl ConnectionTrait,
    (from, through): (NaiveDate, NaiveDate),
) -> Result<Borne> {
    let rows = borne_rows(|_, day| format!("{day} BETWEEN $1 AND $2"));
    let days: [Value; 2] = [from.into(), through.into()];
    sums(db, &format!("{BORNE} FROM ({rows}) t"), days).await
}
