//! What is staged: compared with the catalogue when all of it is there, and cleared away in small steps.

use chrono::{DateTime, TimeDelta, Utc};
use nameplate_entities::kinds::{PriceListState, RowFault};
use nameplate_entities::{price_list, price_list_fault, price_list_row};
use nameplate_rules::pricing::price_list::Field;
use sea_orm::sea_query::{ExprTrait, Query};
use sea_orm::{
    ActiveEnum, ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait,
    IntoActiveModel, PaginatorTrait, QueryFilter, QueryOrder, QuerySelect, Select, Statement,
    Value,
};

use crate::base::{Act, Result, Right, audit};

use super::begin::{Columns, subject};
use super::receive::{FAULTS_MAX, Received};
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

/// Removes rows and faults of earlier uploads; false when another upload has displaced this one.
pub(super) async fn clear_earlier(act: &Act, list: &price_list::Model) -> Result<bool> {
    loop {
        let tx = act.app.db.write().await?;
        if store::receiving(&tx, list).await?.is_none() {
            return Ok(false);
        }
        let is_clear = clear_some(&tx, list.id).await?;
        tx.commit().await?;
        if is_clear {
            return Ok(true);
        }
    }
}

/// Removes rows and faults of a list that is taken over or given up, which it stays.
async fn clear_done(act: &Act, list_id: i64) -> Result<()> {
    loop {
        let tx = act.app.db.write().await?;
        let state = store::get(&tx, "", list_id).await?.state;
        if !matches!(state, PriceListState::TakenOver | PriceListState::Discarded) {
            return Ok(());
        }
        let is_clear = clear_some(&tx, list_id).await?;
        tx.commit().await?;
        if is_clear {
            return Ok(());
        }
    }
}

/// Removes some rows and faults of a list; true when there were none.
async fn clear_some(tx: &impl ConnectionTrait, list_id: i64) -> Result<bool> {
    let some_rows = Query::select()
        .column(price_list_row::Column::Id)
        .from(price_list_row::Entity)
        .and_where(price_list_row::Column::PriceListId.eq(list_id))
        .limit(STEP)
        .to_owned();
    let rows = price_list_row::Entity::delete_many()
        .filter(price_list_row::Column::Id.in_subquery(some_rows))
        .exec(tx)
        .await?;
    let some_faults = Query::select()
        .column(price_list_fault::Column::Id)
        .from(price_list_fault::Entity)
        .and_where(price_list_fault::Column::PriceListId.eq(list_id))
        .limit(STEP)
        .to_owned();
    let faults = price_list_fault::Entity::delete_many()
        .filter(price_list_fault::Column::Id.in_subquery(some_faults))
        .exec(tx)
        .await?;
    Ok(rows.rows_affected == 0 && faults.rows_affected == 0)
}

/// Everything was received: numbers that stand twice become faults, the rest is compared with the catalogue. Unless
/// every row that was counted is there, the list counts as broken off.
pub(super) async fn finish(
    act: &Act,
    list: &price_list::Model,
    content_hash: String,
) -> Result<Received> {
    let tx = act.app.db.write().await?;
    let Some(before) = store::receiving(&tx, list).await? else {
        return Ok(Received::Displaced);
    };
    compare(&tx, &before).await?;
    let counts = store::counts(&tx, before.id).await?;
    let is_whole = counts.all() + before.bad_row_count == before.row_count;
    let mut row = before.clone().into_active_model();
    row.state = Set(if is_whole {
        PriceListState::Staged
    } else {
        PriceListState::BrokenOff
    });
    row.content_hash = Set(Some(content_hash).filter(|_| is_whole));
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
    Ok(if is_whole {
        Received::Staged(after)
    } else {
        Received::BrokenOff
    })
}

/// What is wrong with rows that can be read, found among all of them and in the catalogue.
struct AmongRows {
    reason: RowFault,
    field: Field,
    words: &'static str,
    /// Which rows, as a condition on `price_list_row`.
    which: &'static str,
}

/// Which of several lines with one number is right, nobody can tell; so none is taken.
const TWICE: AmongRows = AmongRows {
    reason: RowFault::Twice,
    field: Field::Number,
    words: "This number stands in more than one line.",
    which: "number IN (SELECT number FROM price_list_row WHERE price_list_id = $1 \
            GROUP BY number HAVING COUNT(*) > 1)",
};

const OTHER_SUPPLIER: AmongRows = AmongRows {
    reason: RowFault::OtherSupplier,
    field: Field::Number,
    words: "This part is on record from another supplier.",
    which: "EXISTS (SELECT 1 FROM part p JOIN price_list l ON l.id = $1 \
            WHERE p.id = price_list_row.part_id AND p.supplier_id <> l.supplier_id)",
};

/// Most often a price on request. Taken in silence, a part would sell for its markup alone.
const NO_COST: AmongRows = AmongRows {
    reason: RowFault::NoCost,
    field: Field::Cost,
    words: "A cost of nothing is taken over only for a part that costs nothing already. Put the cost in, or record it \
            by hand.",
    which: "cost_cents = 0 AND (old_cost_cents IS NULL OR old_cost_cents <> 0)",
};

/// What each readable row would do, as the catalogue is now. Whatever was found before is found anew.
pub(super) async fn compare(tx: &impl ConnectionTrait, list: &price_list::Model) -> Result<()> {
    let of_list = || [Value::from(list.id)];
    run(
        tx,
        "UPDATE price_list_row SET outcome = 'unread' WHERE price_list_id = $1 AND outcome = 'bad'",
        of_list(),
    )
    .await?;
    price_list_fault::Entity::delete_many()
        .filter(price_list_fault::Column::PriceListId.eq(list.id))
        .filter(price_list_fault::Column::Reason.is_in([
            TWICE.reason,
            OTHER_SUPPLIER.reason,
            NO_COST.reason,
        ]))
        .exec(tx)
        .await?;
    refuse(tx, list, &TWICE).await?;
    let found = "UPDATE price_list_row SET \
         part_id = (SELECT p.id FROM part p WHERE p.number = price_list_row.number), \
         old_cost_cents = (SELECT p.cost_cents FROM part p WHERE p.number = price_list_row.number) \
         WHERE price_list_id = $1 AND outcome <> 'bad'";
    run(tx, found, of_list()).await?;
    refuse(tx, list, &OTHER_SUPPLIER).await?;
    refuse(tx, list, &NO_COST).await?;
    let outcome = "UPDATE price_list_row SET outcome = CASE WHEN part_id IS NULL THEN 'new' \
                   WHEN old_cost_cents <> cost_cents THEN 'changed' \
                   WHEN list_price_cents IS NOT NULL AND EXISTS (SELECT 1 FROM part p WHERE p.id = part_id \
                   AND (p.list_price_cents IS NULL OR p.list_price_cents <> price_list_row.list_price_cents)) \
                   THEN 'changed' ELSE 'same' END WHERE price_list_id = $1 AND outcome <> 'bad'";
    run(tx, outcome, of_list()).await?;
    Ok(())
}

/// Marks the rows and records their faults, as far as there is room for more.
async fn refuse(
    tx: &impl ConnectionTrait,
    list: &price_list::Model,
    fault: &AmongRows,
) -> Result<()> {
    let recorded = price_list_fault::Entity::find()
        .filter(price_list_fault::Column::PriceListId.eq(list.id))
        .count(tx)
        .await?;
    let room = FAULTS_MAX.saturating_sub(i64::try_from(recorded).unwrap_or(FAULTS_MAX));
    let which = format!(
        "price_list_id = $1 AND outcome <> 'bad' AND {}",
        fault.which
    );
    let faults = format!(
        "INSERT INTO price_list_fault (price_list_id, line, column_name, reason, message) \
         SELECT price_list_id, line, CAST($2 AS TEXT), CAST($3 AS TEXT), CAST($4 AS TEXT) FROM price_list_row \
         WHERE {which} ORDER BY line LIMIT $5"
    );
    let columns = Columns::of(list)?;
    let values = [
        list.id.into(),
        columns.name_of(fault.field).unwrap_or_default().into(),
        fault.reason.to_value().into(),
        fault.words.into(),
        std::cmp::max(room, 0).into(),
    ];
    run(tx, &faults, values).await?;
    let bad = format!("UPDATE price_list_row SET outcome = 'bad' WHERE {which}");
    run(tx, &bad, [list.id.into()]).await?;
    Ok(())
}

/// Gives up lists that nobody went on with, and removes rows that are not needed any more: those of lists that were
/// given up, and of lists taken over some time ago. Bounded: what is left waits for the next round.
///
/// # Errors
/// Internal only.
pub async fn forget_staged(act: &Act) -> Result<()> {
    let before: DateTime<Utc> = act.at - KEPT;
    let done = [PriceListState::TakenOver, PriceListState::Discarded];
    let idle = with_rows()
        .filter(price_list::Column::TouchedAt.lt(before))
        .filter(price_list::Column::State.is_not_in(done))
        .all(act.app.db.read())
        .await?;
    for list in idle {
        give_up(act, list.id, before).await?;
    }
    let over = price_list::Column::State
        .eq(PriceListState::TakenOver)
        .and(price_list::Column::TouchedAt.lt(before));
    let given_up = price_list::Column::State.eq(PriceListState::Discarded);
    let done = with_rows()
        .filter(given_up.or(over))
        .all(act.app.db.read())
        .await?;
    for list in done {
        clear_done(act, list.id).await?;
    }
    Ok(())
}

/// Lists of which rows or faults are kept, the oldest first.
fn with_rows() -> Select<price_list::Entity> {
    let rows = Query::select()
        .column(price_list_row::Column::PriceListId)
        .from(price_list_row::Entity)
        .to_owned();
    let faults = Query::select()
        .column(price_list_fault::Column::PriceListId)
        .from(price_list_fault::Entity)
        .to_owned();
    let any = price_list::Column::Id
        .in_subquery(rows)
        .or(price_list::Column::Id.in_subquery(faults));
    price_list::Entity::find()
        .filter(any)
        .order_by_asc(price_list::Column::Id)
        .limit(LISTS_AT_ONCE)
}

/// Marks a list as given up, unless somebody has gone on with it meanwhile.
async fn give_up(act: &Act, list_id: i64, before: DateTime<Utc>) -> Result<()> {
    let tx = act.app.db.write().await?;
    let list = store::get(&tx, "", list_id).await?;
    let is_done = matches!(
        list.state,
        PriceListState::TakenOver | PriceListState::Discarded
    );
    if is_done || list.touched_at >= before {
        return Ok(());
    }
    let mut row = list.clone().into_active_model();
    row.state = Set(PriceListState::Discarded);
    row.version = Set(list.version + 1);
    let after = row.update(&tx).await?;
    let both = (Some(&list), Some(&after));
    audit::record(&tx, act, "forgetPriceList", subject(list.id), both).await?;
    tx.commit().await?;
    Ok(())
}
