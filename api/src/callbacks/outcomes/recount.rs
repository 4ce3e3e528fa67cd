//! Outcomes and cells worked out anew, for `verify`. It reads the whole history, a page of machines at a time.

use nameplate_entities::{appliance, outcome_due};
use sea_orm::sea_query::Query;
use sea_orm::{
    ColumnTrait, ConnectionTrait, DbBackend, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
    QuerySelect, Statement,
};

use crate::base::Result;

use super::store;

/// Machines that are read at a time.
const PAGE: u64 = 50;

/// Calls whose outcome, or whose groups, are not what the machine's calls give, at most so many. Machines that are still to be
/// worked out after an upgrade are left out.
///
/// # Errors
/// Internal only.
pub async fn outcomes_that_differ(db: &impl ConnectionTrait, most: usize) -> Result<Vec<i64>> {
    let due = Query::select()
        .column(outcome_due::Column::ApplianceId)
        .from(outcome_due::Entity)
        .to_owned();
    let mut calls = Vec::new();
    let mut after = 0;
    loop {
        let ids: Vec<i64> = appliance::Entity::find()
            .select_only()
            .column(appliance::Column::Id)
            .filter(appliance::Column::Id.gt(after))
            .filter(appliance::Column::Id.not_in_subquery(due.clone()))
            .order_by_asc(appliance::Column::Id)
            .limit(PAGE)
            .into_tuple()
            .all(db)
            .await?;
        let Some(last) = ids.last() else { break };
        after = *last;
        let now = super::worked_out(db, &ids).await?;
        let kept = store::kept(db, &ids).await?;
        let gone = kept.iter().filter(|outcome| !now.contains(outcome));
        let new = now.iter().filter(|outcome| !kept.contains(outcome));
        calls.extend(gone.chain(new).map(|outcome| outcome.row.call_id));
        if calls.len() >= most {
            break;
        }
    }
    calls.sort_unstable();
    calls.dedup();
    calls.truncate(most);
    Ok(calls)
}

/// A cell that is not the sum over its outcomes.
#[derive(Clone, Debug, PartialEq, Eq, FromQueryResult)]
pub struct Differing {
    pub dimension: String,
    pub group_key: String,
    pub kept: i64,
    pub counted: i64,
}

/// Cells whose count is not that of the outcomes in them, at most so many.
///
/// # Errors
/// Internal only.
pub async fn cells_that_differ(db: &impl ConnectionTrait, most: usize) -> Result<Vec<Differing>> {
    let backend = db.get_database_backend();
    let month = match backend {
        DbBackend::Postgres => "CAST(date_trunc('month', o.completed_on) AS DATE)",
        _ => "date(o.completed_on, 'start of month')",
    };
    let counted = |of: &str, join: &str| {
        format!(
            "SELECT {of}, {month} AS month, o.component_id, \
             COALESCE(o.return_age_days, 0) AS age_days, COUNT(*) AS repairs, \
             SUM(CASE WHEN o.same_component THEN 1 ELSE 0 END) AS same_component \
             FROM repair_outcome o {join} GROUP BY 1, 2, 3, 4, 5"
        )
    };
    let groups = counted(
        "g.dimension, g.group_key",
        "JOIN repair_group g ON g.call_id = o.call_id",
    );
    let shop = counted("'shop' AS dimension, '' AS group_key", "");
    let sql = format!(
        "SELECT dimension, group_key, CAST(SUM(kept) AS BIGINT) AS kept, CAST(SUM(counted) AS BIGINT) AS counted FROM ( \
         SELECT dimension, group_key, month, component_id, age_days, repairs AS kept, 0 AS counted, \
         same_component AS kept_same, 0 AS counted_same FROM rate_cell UNION ALL \
         SELECT dimension, group_key, month, component_id, age_days, 0, repairs, 0, same_component \
         FROM ({groups}) of_groups UNION ALL \
         SELECT dimension, group_key, month, component_id, age_days, 0, repairs, 0, same_component \
         FROM ({shop}) of_shop) both_ways \
         GROUP BY dimension, group_key, month, component_id, age_days \
         HAVING SUM(kept) <> SUM(counted) OR SUM(kept_same) <> SUM(counted_same) \
         ORDER BY dimension, group_key, month, component_id, age_days LIMIT {most}"
    );
    let rows = db
        .query_all_raw(Statement::from_string(backend, sql))
        .await?;
    rows.iter()
        .map(|row| Ok(Differing::from_query_result(row, "")?))
        .collect()
}
