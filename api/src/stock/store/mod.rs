//! Rows of places, levels, holdings and moves.

pub mod orders;
pub mod values;

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::StockMoveKind;
use nameplate_entities::{
    account, journal_entry, part_used, posting, stock_holding, stock_layer, stock_level,
    stock_move, stock_place, stock_terms, unbilled_receipt,
};
use nameplate_rules::money::Cents;
use nameplate_rules::stock::{Holding, Layer};
use rust_decimal::Decimal;
use sea_orm::sea_query::OnConflict;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, Condition, ConnectionTrait, EntityTrait,
    IntoActiveModel, QueryFilter, QueryOrder, QuerySelect,
};

use crate::base::{Error, Result};

/// The shop's terms about stock.
pub async fn terms(db: &impl ConnectionTrait) -> Result<stock_terms::Model> {
    stock_terms::Entity::find_by_id(1)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("the terms about stock are missing"))
}

/// Whether any part is on hand, short, or of value.
pub async fn is_any_held(db: &impl ConnectionTrait) -> Result<bool> {
    let held = Condition::any()
        .add(stock_holding::Column::ValueCents.ne(0))
        .add(stock_holding::Column::Quantity.ne(Exact(Decimal::ZERO)));
    Ok(stock_holding::Entity::find()
        .filter(held)
        .limit(1)
        .one(db)
        .await?
        .is_some())
}

/// The place, which the input names at `path`, in use or not.
///
/// # Errors
/// `NotFound`.
pub async fn get_place(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<stock_place::Model> {
    stock_place::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "place for parts"))
}

/// Every place, in the order of their recording; a shop has few.
pub async fn places(db: &impl ConnectionTrait) -> Result<Vec<stock_place::Model>> {
    Ok(stock_place::Entity::find()
        .order_by_asc(stock_place::Column::Id)
        .all(db)
        .await?)
}

/// The shelf that parts come from when nobody says.
pub async fn main_place(db: &impl ConnectionTrait) -> Result<stock_place::Model> {
    stock_place::Entity::find()
        .filter(stock_place::Column::IsMain.eq(true))
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("no place is the main one"))
}

/// Whether anything lies at a place, or is missing there.
pub async fn is_empty(db: &impl ConnectionTrait, place_id: i64) -> Result<bool> {
    Ok(stock_level::Entity::find()
        .filter(stock_level::Column::PlaceId.eq(place_id))
        .filter(stock_level::Column::Quantity.ne(Exact(Decimal::ZERO)))
        .limit(1)
        .one(db)
        .await?
        .is_none())
}

/// The layers of a part, oldest first.
pub async fn layers(db: &impl ConnectionTrait, part_id: i64) -> Result<Vec<Layer>> {
    let rows = stock_layer::Entity::find()
        .filter(stock_layer::Column::PartId.eq(part_id))
        .order_by_asc(stock_layer::Column::Id)
        .all(db)
        .await?;
    Ok(rows
        .into_iter()
        .map(|row| Layer {
            quantity: row.quantity.0,
            value: Cents(row.value_cents),
            mark: row.move_id,
        })
        .collect())
}

/// Writes a holding and its layers anew.
pub async fn save_holding(
    tx: &impl ConnectionTrait,
    part_id: i64,
    holding: &Holding,
) -> Result<()> {
    let too_large = |error| Error::caused("a holding", error);
    stock_layer::Entity::delete_many()
        .filter(stock_layer::Column::PartId.eq(part_id))
        .exec(tx)
        .await?;
    let layers = holding
        .layers()
        .iter()
        .map(|layer| stock_layer::ActiveModel {
            part_id: Set(part_id),
            quantity: Set(Exact(layer.quantity.normalize())),
            value_cents: Set(layer.value.0),
            move_id: Set(layer.mark),
            ..Default::default()
        });
    let layers: Vec<_> = layers.collect();
    if !layers.is_empty() {
        stock_layer::Entity::insert_many(layers)
            .exec_without_returning(tx)
            .await?;
    }
    let row = stock_holding::ActiveModel {
        part_id: Set(part_id),
        quantity: Set(Exact(holding.quantity().map_err(too_large)?)),
        value_cents: Set(holding.value().map_err(too_large)?.0),
    };
    let mut known = OnConflict::column(stock_holding::Column::PartId);
    known.update_columns([
        stock_holding::Column::Quantity,
        stock_holding::Column::ValueCents,
    ]);
    stock_holding::Entity::insert(row)
        .on_conflict(known)
        .exec_without_returning(tx)
        .await?;
    Ok(())
}

/// How many of a part lie at a place; none where it was never there.
pub async fn level(
    db: &impl ConnectionTrait,
    (part_id, place_id): (i64, i64),
) -> Result<Option<stock_level::Model>> {
    Ok(stock_level::Entity::find()
        .filter(stock_level::Column::PartId.eq(part_id))
        .filter(stock_level::Column::PlaceId.eq(place_id))
        .one(db)
        .await?)
}

/// How many of a part lie at a place; zero where it was never there.
///
/// # Errors
/// Internal only.
pub async fn pieces_at(db: &impl ConnectionTrait, at: (i64, i64)) -> Result<Decimal> {
    Ok(level(db, at)
        .await?
        .map_or(Decimal::ZERO, |row| row.quantity.0))
}

/// The levels of these parts at one place.
pub async fn levels_at(
    db: &impl ConnectionTrait,
    place_id: i64,
    part_ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<stock_level::Model>> {
    Ok(stock_level::Entity::find()
        .filter(stock_level::Column::PlaceId.eq(place_id))
        .filter(stock_level::Column::PartId.is_in(part_ids))
        .all(db)
        .await?)
}

/// How many of these parts lay at a place at the end of a day: what lies there now, less what moved since.
///
/// # Errors
/// Internal only.
pub async fn levels_on(
    db: &impl ConnectionTrait,
    place_id: i64,
    part_ids: &[i64],
    on: NaiveDate,
) -> Result<HashMap<i64, Decimal>> {
    let now = levels_at(db, place_id, part_ids.iter().copied()).await?;
    let mut there: HashMap<i64, Decimal> = now
        .into_iter()
        .map(|row| (row.part_id, row.quantity.0))
        .collect();
    let later: Vec<(i64, Exact)> = stock_move::Entity::find()
        .select_only()
        .columns([stock_move::Column::PartId, stock_move::Column::Quantity])
        .filter(stock_move::Column::PartId.is_in(part_ids.iter().copied()))
        .filter(stock_move::Column::MovedOn.gt(on))
        .filter(stock_move::Column::PlaceId.eq(place_id))
        .into_tuple()
        .all(db)
        .await?;
    for (part_id, quantity) in later {
        *there.entry(part_id).or_default() -= quantity.0;
    }
    Ok(there)
}

/// A level grows by so many; the row is made when there is none.
///
/// # Errors
/// `OutOfRange` for more than can be counted.
pub async fn change_level(
    tx: &impl ConnectionTrait,
    (part_id, place_id): (i64, i64),
    by: Decimal,
) -> Result<stock_level::Model> {
    let Some(before) = level(tx, (part_id, place_id)).await? else {
        let new = stock_level::ActiveModel {
            place_id: Set(place_id),
            part_id: Set(part_id),
            quantity: Set(Exact(by.normalize())),
            reorder_point: Set(None),
            is_low: Set(false),
            version: Set(1),
            ..Default::default()
        };
        return Ok(new.insert(tx).await?);
    };
    let quantity = before
        .quantity
        .0
        .checked_add(by)
        .ok_or_else(|| super::ledger::refused(nameplate_rules::stock::StockRefusal::TooLarge))?
        .normalize();
    let mut row = before.clone().into_active_model();
    row.quantity = Set(Exact(quantity));
    row.is_low = Set(is_low(quantity, before.reorder_point));
    row.version = Set(before.version + 1);
    Ok(row.update(tx).await?)
}

/// Whether so many are fewer than there should be.
pub fn is_low(quantity: Decimal, reorder_point: Option<Exact>) -> bool {
    reorder_point.is_some_and(|point| quantity < point.0)
}

/// The move, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_move(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<stock_move::Model> {
    stock_move::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "move of stock"))
}

/// Which of these parts were bought, counted or adjusted before. A count of another place that took stock over, which is
/// against owner's equity, is none of these.
///
/// # Errors
/// Internal only.
pub async fn bought_or_counted(
    db: &impl ConnectionTrait,
    (place_id, equity_id): (i64, i64),
    part_ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<i64>> {
    let kinds = [
        StockMoveKind::Received,
        StockMoveKind::Counted,
        StockMoveKind::Adjusted,
    ];
    let own = Condition::any()
        .add(stock_move::Column::Kind.ne(StockMoveKind::Counted))
        .add(stock_move::Column::AccountId.is_null())
        .add(stock_move::Column::AccountId.ne(equity_id))
        .add(stock_move::Column::PlaceId.eq(place_id));
    Ok(stock_move::Entity::find()
        .select_only()
        .column(stock_move::Column::PartId)
        .distinct()
        .filter(stock_move::Column::PartId.is_in(part_ids))
        .filter(stock_move::Column::Kind.is_in(kinds))
        .filter(own)
        .into_tuple()
        .all(db)
        .await?)
}

/// What took a move back so far, and what mended its cost.
pub async fn changes_of(db: &impl ConnectionTrait, id: i64) -> Result<Vec<stock_move::Model>> {
    let back = Condition::all()
        .add(stock_move::Column::UndoesMoveId.eq(id))
        .add(stock_move::Column::Quantity.ne(Exact(Decimal::ZERO)));
    let change = Condition::any()
        .add(back)
        .add(stock_move::Column::SettlesMoveId.eq(id));
    Ok(stock_move::Entity::find().filter(change).all(db).await?)
}

/// The part as it was fitted.
pub async fn part_used_of(db: &impl ConnectionTrait, id: i64) -> Result<part_used::Model> {
    part_used::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a part that was fitted is gone"))
}

/// The account on which the cost of a part was posted that was fitted before moves named it.
pub async fn posted_to(
    db: &impl ConnectionTrait,
    left: &stock_move::Model,
    chart: Vec<account::Model>,
) -> Result<Option<account::Model>> {
    let entry = journal_entry::Entity::find()
        .filter(journal_entry::Column::DocumentKind.eq("service_call"))
        .filter(journal_entry::Column::DocumentId.eq(left.call_id))
        .order_by_asc(journal_entry::Column::Id)
        .one(db)
        .await?;
    let Some(entry) = entry else {
        return Ok(None);
    };
    let posting = posting::Entity::find()
        .filter(posting::Column::EntryId.eq(entry.id))
        .filter(posting::Column::DebitCents.gt(0))
        .one(db)
        .await?;
    Ok(posting.and_then(|posting| chart.into_iter().find(|row| row.id == posting.account_id)))
}

/// Notes that a receipt waits for its bill.
pub async fn await_bill(
    tx: &impl ConnectionTrait,
    row: &stock_move::Model,
    supplier_id: Option<i64>,
) -> Result<()> {
    let new = unbilled_receipt::ActiveModel {
        move_id: Set(row.id),
        supplier_id: Set(supplier_id),
        cost_cents: Set(row.value_cents),
        is_open: Set(true),
        open_quantity: Set(row.quantity),
        open_cents: Set(row.value_cents),
    };
    unbilled_receipt::Entity::insert(new)
        .exec_without_returning(tx)
        .await?;
    Ok(())
}

/// The receipt that waited for its bill, if it did.
pub async fn unbilled(
    db: &impl ConnectionTrait,
    move_id: i64,
) -> Result<Option<unbilled_receipt::Model>> {
    Ok(unbilled_receipt::Entity::find_by_id(move_id)
        .one(db)
        .await?)
}

/// Fewer pieces of a receipt wait for their bill; none once all of them went back.
pub async fn await_less(
    tx: &impl ConnectionTrait,
    receipt: &unbilled_receipt::Model,
    (quantity, cost): (Decimal, Cents),
) -> Result<()> {
    let left = receipt.open_quantity.0 - quantity;
    let mut row = receipt.clone().into_active_model();
    row.is_open = Set(left > Decimal::ZERO);
    row.open_quantity = Set(Exact(left.normalize()));
    row.open_cents = Set(receipt.open_cents - cost.0);
    row.update(tx).await?;
    Ok(())
}
