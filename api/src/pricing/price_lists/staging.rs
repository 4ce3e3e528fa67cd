//! What is staged: compared with the catalogue when all of it is there, and cleared away in small steps.

use chrono::{DateTime, TimeDelta, Utc};
use nameplate_entities::kinds::PriceListState;
use nameplate_entities::{price_list, price_list_fault, price_list_row};
use sea_orm::sea_query::Query;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel,
    QueryFilter, QueryOrder, QuerySelect, Statement, Value,
};

use crate::base::{Act, Result, Right, audit};

use super::begin::subject;
use super::receive::number_column;
use super::store;

/// Rows removed in one transaction.
const STEP: u64 = 5_000;
/// Lists that one round clears at most.
const LISTS_AT_ONCE: u64 = 20;
/// How long a list that nobody went on with is kept, and the rows of one that was taken over.
const KEPT: TimeDelta = TimeDelta::days(14);

/// Runs a statement of ours with `$1`, which both databases take.
pub(super) async fn run(
    tx: &impl ConnectionTrait,
    sql: &str,
    values: impl IntoIterator<Item = Value>,
) -> Result<u64> {
    let statement = Statement::from_sql_and_values(tx.get_database_backend(), sql, values);
    Ok(tx.execute_raw(statement).await?.rows_affected())
}

/// Removes rows and faults of earlier uploads.
pub(super) async fn clear(act: &Act, list_id: i64) -> Result<()> {
    loop {
        let tx = act.app.db.write().await?;
        let rows = price_list_row::Entity::delete_many()
            .filter(
                price_list_row::Column::Id.in_subquery(
                    Query::select()
                        .column(price_list_row::Column::Id)
                        .from(price_list_row::Entity)
                        .and_where(price_list_row::Column::PriceListId.eq(list_id))
                        .limit(STEP)
                        .to_owned(),
                ),
            )
            .exec(&tx)
            .await?
            .rows_affected;
        let faults = price_list_fault::Entity::delete_many()
            .filter(
                price_list_fault::Column::Id.in_subquery(
                    Query::select()
                        .column(price_list_fault::Column::Id)
                        .from(price_list_fault::Entity)
                        .and_where(price_list_fault::Column::PriceListId.eq(list_id))
                        .limit(STEP)
                        .to_owned(),
                ),
            )
            .exec(&tx)
            .await?
            .rows_affected;
        tx.commit().await?;
        if rows == 0 && faults == 0 {
            return Ok(());
        }
    }
}

/// Everything was received: numbers that stand twice become faults, the rest is compared with the catalogue.
pub(super) async fn finish(
    act: &Act,
    list: &price_list::Model,
    content_hash: String,
) -> Result<Option<price_list::Model>> {
    let tx = act.app.db.write().await?;
    let Some(before) = store::receiving(&tx, list).await? else {
        return Ok(None);
    };
    let column = number_column(&before)?;
    refuse_twice(&tx, &before, column.clone()).await?;
    compare(&tx, &before, column).await?;
    let counts = store::counts(&tx, before.id).await?;
    let mut row = before.clone().into_active_model();
    row.state = Set(PriceListState::Staged);
    row.content_hash = Set(Some(content_hash));
    row.bad_row_count = Set(before.bad_row_count + counts.bad);
    row.new_count = Set(counts.new);
    row.changed_count = Set(counts.changed);
    row.same_count = Set(counts.same);
    row.touched_at = Set(act.app.clock.now());
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::BeginPriceList.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(Some(after))
}

/// Which of several lines with one number is right, nobody can tell; so none is taken.
async fn refuse_twice(
    tx: &impl ConnectionTrait,
    list: &price_list::Model,
    column: String,
) -> Result<()> {
    let twice = "number IN (SELECT number FROM price_list_row WHERE price_list_id = $1 \
                 GROUP BY number HAVING COUNT(*) > 1)";
    let faults = format!(
        "INSERT INTO price_list_fault (price_list_id, line, column_name, reason, message) \
         SELECT price_list_id, line, CAST($2 AS TEXT), 'twice', 'This number stands in more than one line.' \
         FROM price_list_row WHERE price_list_id = $1 AND {twice}"
    );
    run(tx, &faults, [list.id.into(), column.into()]).await?;
    let bad =
        format!("UPDATE price_list_row SET outcome = 'bad' WHERE price_list_id = $1 AND {twice}");
    run(tx, &bad, [list.id.into()]).await?;
    Ok(())
}

/// What each good row would do, as the catalogue is now. Whatever was found before is found anew.
pub(super) async fn compare(
    tx: &impl ConnectionTrait,
    list: &price_list::Model,
    column: String,
) -> Result<()> {
    let of_list = || [Value::from(list.id)];
    let statements = [
        "UPDATE price_list_row SET outcome = 'unread' WHERE price_list_id = $1 AND outcome = 'bad' AND line IN \
         (SELECT line FROM price_list_fault WHERE price_list_id = $1 AND reason = 'other_supplier')",
        "DELETE FROM price_list_fault WHERE price_list_id = $1 AND reason = 'other_supplier'",
        "UPDATE price_list_row SET part_id = (SELECT p.id FROM part p WHERE p.number = price_list_row.number), \
         old_cost_cents = (SELECT p.cost_cents FROM part p WHERE p.number = price_list_row.number) \
         WHERE price_list_id = $1 AND outcome <> 'bad'",
    ];
    for statement in statements {
        run(tx, statement, of_list()).await?;
    }
    let others = "FROM price_list_row r JOIN part p ON p.id = r.part_id \
                  WHERE r.price_list_id = $1 AND r.outcome <> 'bad' AND p.supplier_id <> $2";
    let faults = format!(
        "INSERT INTO price_list_fault (price_list_id, line, column_name, reason, message) \
         SELECT r.price_list_id, r.line, CAST($3 AS TEXT), 'other_supplier', \
         'This part is on record from another supplier.' {others}"
    );
    let supplier = Value::from(list.supplier_id);
    run(
        tx,
        &faults,
        [list.id.into(), supplier.clone(), column.into()],
    )
    .await?;
    let bad =
        format!("UPDATE price_list_row SET outcome = 'bad' WHERE id IN (SELECT r.id {others})");
    run(tx, &bad, [list.id.into(), supplier]).await?;
    let outcome = "UPDATE price_list_row SET outcome = CASE WHEN part_id IS NULL THEN 'new' \
                   WHEN old_cost_cents <> cost_cents THEN 'changed' \
                   WHEN list_price_cents IS NOT NULL AND EXISTS (SELECT 1 FROM part p WHERE p.id = part_id \
                   AND (p.list_price_cents IS NULL OR p.list_price_cents <> price_list_row.list_price_cents)) \
                   THEN 'changed' ELSE 'same' END WHERE price_list_id = $1 AND outcome <> 'bad'";
    run(tx, outcome, of_list()).await?;
    Ok(())
}

/// Gives up lists that nobody went on with, and removes rows that are not needed any more. Bounded: what is left
/// waits for the next round.
///
/// # Errors
/// Internal only.
pub async fn forget_staged(act: &Act) -> Result<()> {
    let before: DateTime<Utc> = act.at - KEPT;
    let old = price_list::Entity::find()
        .filter(price_list::Column::TouchedAt.lt(before))
        .filter(
            price_list::Column::Id.in_subquery(
                Query::select()
                    .column(price_list_row::Column::PriceListId)
                    .from(price_list_row::Entity)
                    .to_owned(),
            ),
        )
        .order_by_asc(price_list::Column::Id)
        .limit(LISTS_AT_ONCE)
        .all(act.app.db.read())
        .await?;
    for list in old {
        clear(act, list.id).await?;
        if list.state == PriceListState::TakenOver {
            continue;
        }
        let tx = act.app.db.write().await?;
        let mut row = list.clone().into_active_model();
        row.state = Set(PriceListState::Discarded);
        row.version = Set(list.version + 1);
        let after = row.update(&tx).await?;
        let both = (Some(&list), Some(&after));
        audit::record(&tx, act, "forgetPriceList", subject(list.id), both).await?;
        tx.commit().await?;
    }
    Ok(())
}
