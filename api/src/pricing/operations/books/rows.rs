//! Everything below a price book, as rows and back.

use nameplate_entities::{flat_rate_task, labour_rate, markup_bracket, price_book, trip_zone};
use nameplate_rules::money::Cents;
use sea_orm::{ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter};

use crate::base::Result;

use super::super::super::{book, store};
use super::lists::Lists;
use super::{DraftPriceBook, NewBracket, NewRate, NewTask, NewZone};

/// Rows written by one statement; a row has at most ten values, and SQLite takes 32,766.
const ROWS_AT_ONCE: usize = 500;

/// Writes the brackets and lists of a book that has none.
pub(super) async fn write(
    tx: &impl ConnectionTrait,
    book_id: i64,
    book: &DraftPriceBook,
    lists: Lists,
) -> Result<()> {
    let brackets =
        (0..)
            .zip(&book.brackets)
            .map(|(position, bracket)| markup_bracket::ActiveModel {
                price_book_id: Set(book_id),
                position: Set(position),
                up_to_cents: Set(bracket.up_to.map(|edge| edge.0)),
                multiplier: Set(bracket.multiplier.into()),
                ..Default::default()
            });
    markup_bracket::Entity::insert_many(brackets)
        .exec(tx)
        .await?;
    if !lists.rates.is_empty() {
        let rates = lists.rates.into_iter().map(|row| labour_rate::ActiveModel {
            price_book_id: Set(book_id),
            ..row
        });
        labour_rate::Entity::insert_many(rates).exec(tx).await?;
    }
    if !lists.zones.is_empty() {
        let zones = lists.zones.into_iter().map(|row| trip_zone::ActiveModel {
            price_book_id: Set(book_id),
            ..row
        });
        trip_zone::Entity::insert_many(zones).exec(tx).await?;
    }
    for tasks in lists.tasks.chunks(ROWS_AT_ONCE) {
        let tasks = tasks
            .iter()
            .cloned()
            .map(|row| flat_rate_task::ActiveModel {
                price_book_id: Set(book_id),
                ..row
            });
        flat_rate_task::Entity::insert_many(tasks).exec(tx).await?;
    }
    Ok(())
}

/// Removes what is below a draft; nothing was ever priced by it.
pub(super) async fn clear(tx: &impl ConnectionTrait, book_id: i64) -> Result<()> {
    markup_bracket::Entity::delete_many()
        .filter(markup_bracket::Column::PriceBookId.eq(book_id))
        .exec(tx)
        .await?;
    labour_rate::Entity::delete_many()
        .filter(labour_rate::Column::PriceBookId.eq(book_id))
        .exec(tx)
        .await?;
    trip_zone::Entity::delete_many()
        .filter(trip_zone::Column::PriceBookId.eq(book_id))
        .exec(tx)
        .await?;
    flat_rate_task::Entity::delete_many()
        .filter(flat_rate_task::Column::PriceBookId.eq(book_id))
        .exec(tx)
        .await?;
    Ok(())
}

/// A book as it could be drafted again.
pub(super) async fn read(
    db: &impl ConnectionTrait,
    row: &price_book::Model,
) -> Result<DraftPriceBook> {
    let brackets = store::brackets_of(db, row.id).await?;
    let rates = store::rates_of(db, row.id).await?;
    let zones = store::zones_of(db, row.id).await?;
    let tasks = store::tasks_of(db, row.id).await?;
    Ok(DraftPriceBook {
        name: row.name.clone(),
        effective_from: row.effective_from,
        hourly_rate: Cents(row.hourly_rate_cents),
        first_hour_minimum: row.first_hour_minimum,
        minimum_minutes: row.minimum_minutes,
        increment_minutes: row.increment_minutes,
        after_hours_multiplier: row.after_hours_multiplier.0,
        second_technician_share: row.second_technician_share.0,
        trip: Cents(row.trip_cents),
        distance_unit: row.distance_unit,
        diagnostic: Cents(row.diagnostic_cents),
        diagnostic_credited: row.diagnostic_credited,
        markup_kind: row.markup_kind,
        minimum_markup: Cents(row.minimum_markup_cents),
        maximum_markup: row.maximum_markup_cents.map(Cents),
        price_ending: row.price_ending,
        brackets: brackets
            .iter()
            .map(|bracket| NewBracket {
                up_to: bracket.up_to_cents.map(Cents),
                multiplier: bracket.multiplier.0,
            })
            .collect(),
        rates: rates.into_iter().map(rate).collect(),
        zones: zones.into_iter().map(zone).collect(),
        tasks: tasks.into_iter().map(task).collect(),
    })
}

fn rate(row: labour_rate::Model) -> NewRate {
    NewRate {
        name: row.name,
        hourly_rate: Cents(row.hourly_rate_cents),
    }
}

fn zone(row: trip_zone::Model) -> NewZone {
    NewZone {
        postal_codes: book::codes(&row),
        name: row.name,
        charge: Cents(row.charge_cents),
        up_to_distance: row.up_to_distance.map(|edge| edge.0),
    }
}

fn task(row: flat_rate_task::Model) -> NewTask {
    NewTask {
        key: row.task_key,
        name: row.name,
        description: row.description,
        appliance_type_id: row.appliance_type_id,
        component_id: row.component_id,
        hours: row.hours.0,
    }
}
