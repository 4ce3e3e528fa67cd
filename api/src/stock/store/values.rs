//! What the stock is worth, now and on a day gone by: what is held less what moved since.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::stock_move;
use rust_decimal::Decimal;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QuerySelect, Statement,
};

use crate::base::{Error, Result};

/// Parts whose later moves are read at once.
const AT_ONCE: usize = 500;

/// A part, how many there were and what they were worth.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Valued {
    pub part_id: i64,
    pub quantity: Decimal,
    pub value_cents: i64,
}

/// The stock at the end of a day.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OnDay {
    /// Parts that were there, short, or of value, the largest value first; those that were worth nothing last.
    pub parts: Vec<Valued>,
    /// Whether there are others.
    pub more: bool,
    /// Value that is not assigned to parts.
    pub unassigned_cents: i64,
    pub total_cents: i64,
}

#[derive(FromQueryResult)]
struct Held {
    part_id: i64,
    quantity: Exact,
    value_cents: i64,
    moved_later: bool,
}

/// What there was at the end of a day: all parts, or so many of the largest value.
///
/// # Errors
/// Internal only.
pub async fn on_day(
    db: &impl ConnectionTrait,
    on: NaiveDate,
    parts_max: Option<usize>,
) -> Result<OnDay> {
    let too_large = || Error::internal("the stock of a day is too large to be added up");
    let limit = parts_max.map_or(String::new(), |max| {
        format!(" LIMIT {}", max.saturating_add(1))
    });
    let sql = format!(
        "SELECT h.part_id, h.quantity, CAST(h.value_cents - COALESCE(l.cents, 0) AS BIGINT) AS value_cents, \
         l.part_id IS NOT NULL AS moved_later FROM stock_holding h {LATER} \
         WHERE h.value_cents <> 0 OR h.quantity <> '0' OR l.part_id IS NOT NULL \
         ORDER BY CASE WHEN h.value_cents - COALESCE(l.cents, 0) = 0 THEN 1 ELSE 0 END, \
         h.value_cents - COALESCE(l.cents, 0) DESC, h.part_id{limit}"
    );
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, [on.into()]);
    let mut held = Held::find_by_statement(statement).all(db).await?;
    let more = parts_max.is_some_and(|max| held.len() > max);
    if let Some(max) = parts_max {
        held.truncate(max);
    }
    let moved: Vec<i64> = held
        .iter()
        .filter(|row| row.moved_later)
        .map(|row| row.part_id)
        .collect();
    let later = moved_after(db, &moved, on).await?;
    let mut parts = Vec::with_capacity(held.len());
    for row in held {
        let since = later.get(&row.part_id).copied().unwrap_or_default();
        let then = row.quantity.0.checked_sub(since).ok_or_else(too_large)?;
        if then != Decimal::ZERO || row.value_cents != 0 {
            parts.push(Valued {
                part_id: row.part_id,
                quantity: then.normalize(),
                value_cents: row.value_cents,
            });
        }
    }
    let unassigned_cents = unassigned_on(db, on).await?;
    let total_cents = of_parts(db, on)
        .await?
        .checked_add(unassigned_cents)
        .ok_or_else(too_large)?;
    Ok(OnDay {
        parts,
        more,
        unassigned_cents,
        total_cents,
    })
}

/// What moved after day `$1`, by part.
const LATER: &str = "LEFT JOIN (SELECT part_id, SUM(value_cents) AS cents FROM stock_move \
     WHERE moved_on > $1 AND part_id IS NOT NULL GROUP BY part_id) l ON l.part_id = h.part_id";

/// How many of each of these parts came in after a day, less those that left.
async fn moved_after(
    db: &impl ConnectionTrait,
    part_ids: &[i64],
    on: NaiveDate,
) -> Result<HashMap<i64, Decimal>> {
    let mut moved: HashMap<i64, Decimal> = HashMap::new();
    for some in part_ids.chunks(AT_ONCE) {
        let rows: Vec<(i64, Exact)> = stock_move::Entity::find()
            .select_only()
            .columns([stock_move::Column::PartId, stock_move::Column::Quantity])
            .filter(stock_move::Column::PartId.is_in(some.iter().copied()))
            .filter(stock_move::Column::MovedOn.gt(on))
            .into_tuple()
            .all(db)
            .await?;
        for (part_id, quantity) in rows {
            let sum = moved.entry(part_id).or_default();
            *sum = sum.saturating_add(quantity.0);
        }
    }
    Ok(moved)
}

#[derive(FromQueryResult)]
struct Sum {
    cents: i64,
}

async fn sum(db: &impl ConnectionTrait, sql: &str, days: Option<NaiveDate>) -> Result<i64> {
    let backend = db.get_database_backend();
    let values = days.map(sea_orm::Value::from);
    let statement = Statement::from_sql_and_values(backend, sql, values);
    let row = Sum::find_by_statement(statement).one(db).await?;
    Ok(row.map_or(0, |row| row.cents))
}

/// What all parts were worth at the end of a day.
async fn of_parts(db: &impl ConnectionTrait, on: NaiveDate) -> Result<i64> {
    let sql = "SELECT CAST(h.cents - l.cents AS BIGINT) AS cents FROM \
         (SELECT COALESCE(SUM(value_cents), 0) AS cents FROM stock_holding) h, \
         (SELECT COALESCE(SUM(value_cents), 0) AS cents FROM stock_move \
         WHERE moved_on > $1 AND part_id IS NOT NULL) l";
    sum(db, sql, Some(on)).await
}

/// Value that was not assigned to parts at the end of a day; few rows.
async fn unassigned_on(db: &impl ConnectionTrait, on: NaiveDate) -> Result<i64> {
    let sql = "SELECT CAST(COALESCE(SUM(value_cents), 0) AS BIGINT) AS cents FROM stock_move \
         WHERE part_id IS NULL AND moved_on <= $1";
    sum(db, sql, Some(on)).await
}

/// Value that is not assigned to parts, as it stands now. One statement over few rows.
///
/// # Errors
/// Internal only.
pub async fn unassigned(db: &impl ConnectionTrait) -> Result<i64> {
    let sql = "SELECT CAST(COALESCE(SUM(value_cents), 0) AS BIGINT) AS cents FROM stock_move WHERE part_id IS NULL";
    sum(db, sql, None).await
}
