//! Rows of runs, and what working one out reads of other tables.

use chrono::NaiveDate;
use nameplate_entities::{appliance_type, component, reserve_run, reserve_stratum};
use sea_orm::sea_query::Order;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder, Statement,
    Value,
};

use crate::base::{Error, Result, joined};

/// The run, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_run(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<reserve_run::Model> {
    reserve_run::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "run of the warranty reserve"))
}

/// The last run that stands.
pub async fn last_run(db: &impl ConnectionTrait) -> Result<Option<reserve_run::Model>> {
    Ok(reserve_run::Entity::find()
        .filter(reserve_run::Column::StandingOn.is_not_null())
        .order_by_desc(reserve_run::Column::StandingOn)
        .one(db)
        .await?)
}

/// The first run that stands.
pub async fn first_run(db: &impl ConnectionTrait) -> Result<Option<reserve_run::Model>> {
    Ok(reserve_run::Entity::find()
        .filter(reserve_run::Column::StandingOn.is_not_null())
        .order_by_asc(reserve_run::Column::StandingOn)
        .one(db)
        .await?)
}

/// The run that stands for the month that ends on a day.
///
/// # Errors
/// Internal only.
pub async fn standing_run_of(
    db: &impl ConnectionTrait,
    through: NaiveDate,
) -> Result<Option<reserve_run::Model>> {
    Ok(reserve_run::Entity::find()
        .filter(reserve_run::Column::StandingOn.eq(through))
        .one(db)
        .await?)
}

/// A stratum of a run, with what it is called.
#[derive(Clone, Debug, FromQueryResult)]
pub struct StratumNamed {
    #[sea_orm(nested(prefix = "reserve_stratum_"))]
    pub stratum: reserve_stratum::Model,
    #[sea_orm(nested(prefix = "appliance_type_"))]
    pub appliance_type: appliance_type::Model,
    #[sea_orm(nested(prefix = "component_"))]
    pub component: component::Model,
}

/// The strata of a run, as they were written.
///
/// # Errors
/// Internal only.
pub async fn strata_named(db: &impl ConnectionTrait, run_id: i64) -> Result<Vec<StratumNamed>> {
    let mut query = joined::select::<reserve_stratum::Entity>();
    joined::to::<appliance_type::Entity>(
        &mut query,
        ("reserve_stratum", "appliance_type_id", "id"),
    );
    joined::to::<component::Entity>(&mut query, ("reserve_stratum", "component_id", "id"));
    query
        .and_where(reserve_stratum::Column::RunId.eq(run_id))
        .order_by(
            (reserve_stratum::Entity, reserve_stratum::Column::Id),
            Order::Asc,
        );
    joined::all(db, &query).await
}

/// First and last day of what is read.
#[derive(Clone, Copy, Debug)]
pub struct Span {
    pub from: NaiveDate,
    pub through: NaiveDate,
}

/// A repair on which the shop promised free labor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromQueryResult)]
pub struct Promised {
    pub warranty_id: i64,
    pub call_id: i64,
    pub appliance_type_id: i64,
    pub component_id: i64,
    pub written_on: NaiveDate,
    pub labour_through: NaiveDate,
}

/// Repairs of these days, and those before them that are open still, in the order in which they were written.
pub async fn promised(db: &impl ConnectionTrait, span: Span) -> Result<Vec<Promised>> {
    let sql = "SELECT w.id AS warranty_id, w.call_id, a.appliance_type_id, w.component_id, w.written_on, \
               w.labour_through FROM shop_warranty w JOIN appliance a ON a.id = w.appliance_id \
               WHERE w.labour_through IS NOT NULL AND w.written_on <= $2 \
               AND (w.written_on >= $1 OR w.labour_through > $2) ORDER BY w.id";
    all(db, sql, [span.from.into(), span.through.into()]).await
}

/// A confirmed callback, once for each component found on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromQueryResult)]
pub struct CalledBack {
    pub earlier_call_id: i64,
    pub call_id: i64,
    pub opened_on: NaiveDate,
    pub completed_on: Option<NaiveDate>,
    pub component_id: Option<i64>,
}

/// Confirmed callbacks taken in these days for the same or a related failure, or not classed yet.
pub async fn called_back(db: &impl ConnectionTrait, span: Span) -> Result<Vec<CalledBack>> {
    let sql = "SELECT b.earlier_call_id, n.id AS call_id, n.opened_on, n.completed_on, f.component_id \
               FROM callback b JOIN service_call n ON n.id = b.call_id LEFT JOIN finding f ON f.call_id = n.id \
               WHERE b.state = 'confirmed' \
               AND COALESCE(b.class, b.suggested_class, 'same_failure') IN ('same_failure', 'related') \
               AND n.state <> 'cancelled' AND n.opened_on BETWEEN $1 AND $2 ORDER BY n.id, f.id";
    all(db, sql, [span.from.into(), span.through.into()]).await
}

/// A call on which a component failed the same way as before, once for each earlier repair whose promise ran.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromQueryResult)]
pub struct Repeated {
    pub warranty_id: i64,
    pub call_id: i64,
    pub opened_on: NaiveDate,
    pub completed_on: Option<NaiveDate>,
}

/// Repair calls taken in these days on which a repair did not hold while its free labor ran, and which the office has not
/// decided to be a callback or none; of a call the newest repair first.
pub async fn repeated(db: &impl ConnectionTrait, span: Span) -> Result<Vec<Repeated>> {
    let sql = "SELECT DISTINCT w.id AS warranty_id, w.written_on, n.id AS call_id, n.opened_on, \
               n.completed_on FROM service_call n JOIN finding f ON f.call_id = n.id \
               JOIN failure_mode m ON m.id = f.failure_mode_id AND m.key <> 'no_fault_found' \
               JOIN shop_warranty w ON w.appliance_id = n.appliance_id AND w.component_id = f.component_id \
               AND w.call_id <> n.id AND w.written_on <= n.opened_on AND w.labour_through >= n.opened_on \
               JOIN finding e ON e.call_id = w.call_id AND e.component_id = f.component_id \
               AND e.failure_mode_id = f.failure_mode_id \
               WHERE n.kind = 'repair' AND n.state <> 'cancelled' AND n.opened_on BETWEEN $1 AND $2 \
               AND NOT EXISTS (SELECT 1 FROM callback b WHERE b.call_id = n.id AND b.state <> 'proposed') \
               ORDER BY n.id, w.written_on DESC, w.id DESC";
    all(db, sql, [span.from.into(), span.through.into()]).await
}

/// What a call cost the shop, by the books.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromQueryResult)]
pub struct Cost {
    pub call_id: i64,
    pub cents: i64,
}

/// What calls of these days cost, as posted to this account.
pub async fn costs(
    db: &impl ConnectionTrait,
    (account_id, span): (i64, Span),
) -> Result<Vec<Cost>> {
    let sql = "SELECT e.document_id AS call_id, CAST(SUM(p.debit_cents - p.credit_cents) AS BIGINT) AS cents \
               FROM posting p JOIN journal_entry e ON e.id = p.entry_id \
               WHERE p.account_id = $3 AND p.entry_on BETWEEN $1 AND $2 \
               AND e.document_kind = 'service_call' AND e.document_id IS NOT NULL \
               GROUP BY e.document_id ORDER BY e.document_id";
    let values = [span.from.into(), span.through.into(), account_id.into()];
    all(db, sql, values).await
}

#[derive(FromQueryResult)]
struct Sum {
    cents: i64,
}

/// What these days left on an account of expense, debits positive; entries that close a year left out.
pub async fn expense_of(db: &impl ConnectionTrait, (account_id, span): (i64, Span)) -> Result<i64> {
    let sql = "SELECT CAST(COALESCE(SUM(p.debit_cents - p.credit_cents), 0) AS BIGINT) AS cents FROM posting p \
               WHERE p.account_id = $3 AND p.entry_on BETWEEN $1 AND $2 \
               AND p.entry_id NOT IN (SELECT c.id FROM journal_entry c WHERE c.closes_year IS NOT NULL)";
    let values = [span.from.into(), span.through.into(), account_id.into()];
    let rows: Vec<Sum> = all(db, sql, values).await?;
    Ok(rows.first().map_or(0, |row| row.cents))
}

async fn all<T: FromQueryResult, const N: usize>(
    db: &impl ConnectionTrait,
    sql: &str,
    values: [Value; N],
) -> Result<Vec<T>> {
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    Ok(T::find_by_statement(statement).all(db).await?)
}
