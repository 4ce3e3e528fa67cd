//! What the stock is worth, now and on a day gone by.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use futures_util::TryStreamExt;
use nameplate_entities::exact::Exact;
use nameplate_entities::stock_move;
use rust_decimal::Decimal;
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QuerySelect,
    Statement, StreamTrait,
};

use crate::base::{Error, Result};

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
    /// Parts that were there, short, or of value.
    pub parts: Vec<Valued>,
    /// Value that is not assigned to parts.
    pub unassigned_cents: i64,
    pub total_cents: i64,
}

#[derive(FromQueryResult)]
struct Step {
    part_id: Option<i64>,
    quantity: Exact,
    value_cents: i64,
}

/// What there was at the end of a day, summed from the moves through it.
///
/// # Errors
/// Internal only.
pub async fn on_day(db: &(impl ConnectionTrait + StreamTrait), on: NaiveDate) -> Result<OnDay> {
    let too_large = || Error::internal("the stock of a day is too large to be added up");
    let mut of: BTreeMap<i64, (Decimal, i64)> = BTreeMap::new();
    let mut day = OnDay::default();
    let mut steps = stock_move::Entity::find()
        .select_only()
        .column(stock_move::Column::PartId)
        .column(stock_move::Column::Quantity)
        .column(stock_move::Column::ValueCents)
        .filter(stock_move::Column::MovedOn.lte(on))
        .into_model::<Step>()
        .stream(db)
        .await?;
    while let Some(step) = steps.try_next().await? {
        let add = |sum: i64| sum.checked_add(step.value_cents).ok_or_else(too_large);
        day.total_cents = add(day.total_cents)?;
        let Some(part_id) = step.part_id else {
            day.unassigned_cents = add(day.unassigned_cents)?;
            continue;
        };
        let part = of.entry(part_id).or_default();
        part.0 = part.0.checked_add(step.quantity.0).ok_or_else(too_large)?;
        part.1 = add(part.1)?;
    }
    let there = of
        .into_iter()
        .filter(|(_, (quantity, value))| *quantity != Decimal::ZERO || *value != 0);
    day.parts = there
        .map(|(part_id, (quantity, value_cents))| Valued {
            part_id,
            quantity: quantity.normalize(),
            value_cents,
        })
        .collect();
    Ok(day)
}

#[derive(FromQueryResult)]
struct Sum {
    cents: i64,
}

/// What the whole stock was worth at the end of a day. One statement.
///
/// # Errors
/// Internal only.
pub async fn total_on(db: &impl ConnectionTrait, on: NaiveDate) -> Result<i64> {
    let sql = "SELECT CAST(COALESCE(SUM(value_cents), 0) AS BIGINT) AS cents FROM stock_move WHERE moved_on <= $1";
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, [on.into()]);
    let row = Sum::find_by_statement(statement).one(db).await?;
    Ok(row.map_or(0, |row| row.cents))
}

/// Value that is not assigned to parts, as it stands now. One statement over few rows.
///
/// # Errors
/// Internal only.
pub async fn unassigned(db: &impl ConnectionTrait) -> Result<i64> {
    let sql = "SELECT CAST(COALESCE(SUM(value_cents), 0) AS BIGINT) AS cents FROM stock_move WHERE part_id IS NULL";
    let statement = Statement::from_string(db.get_database_backend(), sql);
    let row = Sum::find_by_statement(statement).one(db).await?;
    Ok(row.map_or(0, |row| row.cents))
}
