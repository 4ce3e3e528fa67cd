//! What repairs that came back cost the shop.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::Dimension;
use nameplate_rules::money::Cents;
use sea_orm::{ActiveEnum, ConnectionTrait, FromQueryResult, Statement, Value};

use crate::base::Result;
use crate::callbacks::outcomes::Watch;
use crate::closeout::borne_rows;

#[derive(FromQueryResult)]
struct Lost {
    group_key: String,
    lost_cents: i64,
}

/// The repairs of the span that came back within the window.
const RETURNED: &str =
    "o.completed_on BETWEEN $1 AND $2 AND o.return_call_id IS NOT NULL AND o.return_age_days <= $3";

/// What the shop bore of the calls by which each group's repairs came back within the window, at cost.
pub async fn lost(
    db: &impl ConnectionTrait,
    dimension: Dimension,
    watch: &Watch,
) -> Result<HashMap<String, Cents>> {
    let rows = borne_rows(|call, _| {
        format!("{call} IN (SELECT o.return_call_id FROM repair_outcome o WHERE {RETURNED})")
    });
    let mut values = values(watch);
    let (key, groups) = if dimension == Dimension::Shop {
        ("''", "")
    } else {
        values.push(dimension.to_value().into());
        (
            "g.group_key",
            // As a joined text, by which no index can find it: SQLite would rather read the whole dimension than a call's groups.
            "JOIN repair_group g ON g.call_id = o.call_id AND g.dimension || '' = $4",
        )
    };
    let sql = format!(
        "SELECT s.group_key, CAST(SUM(s.cents) AS BIGINT) AS lost_cents FROM (\
         SELECT {key} AS group_key, t.parts + t.labour + t.trip AS cents FROM ({rows}) t \
         JOIN repair_outcome o ON o.return_call_id = t.call_id AND {RETURNED} {groups}) s \
         GROUP BY s.group_key"
    );
    let rows = read::<Lost>(db, &sql, values).await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.group_key, Cents(row.lost_cents)))
        .collect())
}

/// The same of repairs that are in no group of a dimension, such as those without a batch.
pub async fn lost_without(
    db: &impl ConnectionTrait,
    dimension: Dimension,
    watch: &Watch,
) -> Result<Cents> {
    let rows = borne_rows(|call, _| {
        format!("{call} IN (SELECT o.return_call_id FROM repair_outcome o WHERE {RETURNED})")
    });
    let mut values = values(watch);
    values.push(dimension.to_value().into());
    let sql = format!(
        "SELECT '' AS group_key, CAST(COALESCE(SUM(t.parts + t.labour + t.trip), 0) AS BIGINT) AS lost_cents \
         FROM ({rows}) t JOIN repair_outcome o ON o.return_call_id = t.call_id AND {RETURNED} \
         WHERE NOT EXISTS (SELECT 1 FROM repair_group g WHERE g.call_id = o.call_id AND g.dimension || '' = $4)"
    );
    let rows = read::<Lost>(db, &sql, values).await?;
    Ok(Cents(rows.iter().map(|row| row.lost_cents).sum()))
}

/// What the shop bore on a day of a call that counted against a repair.
#[derive(Clone, Debug, PartialEq, Eq, FromQueryResult)]
pub struct CallLost {
    pub call_id: i64,
    pub borne_on: NaiveDate,
    pub same_component: bool,
    pub lost_cents: i64,
}

/// What the shop bore on the days of the span of calls by which a repair came back within the window, whenever that was
/// completed; call by call and day by day.
pub async fn lost_by_call(db: &impl ConnectionTrait, watch: &Watch) -> Result<Vec<CallLost>> {
    let rows = borne_rows(|_, day| format!("{day} BETWEEN $1 AND $2"));
    let sql = format!(
        "SELECT t.call_id, t.borne_on, o.same_component, \
         CAST(t.parts + t.labour + t.trip AS BIGINT) AS lost_cents FROM ({rows}) t \
         JOIN repair_outcome o ON o.return_call_id = t.call_id AND o.return_age_days <= $3"
    );
    read(db, &sql, values(watch)).await
}

/// First day, last day and window, as the first three values of a statement.
fn values(watch: &Watch) -> Vec<Value> {
    vec![
        watch.from.into(),
        watch.through.into(),
        i64::from(watch.window_days).into(),
    ]
}

async fn read<T: FromQueryResult>(
    db: &impl ConnectionTrait,
    sql: &str,
    values: Vec<Value>,
) -> Result<Vec<T>> {
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    Ok(T::find_by_statement(statement).all(db).await?)
}
