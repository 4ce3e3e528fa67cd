//! Rows of price books, parts, jurisdictions and certificates.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::BookState;
use nameplate_entities::{
    flat_rate_task, labour_rate, markup_bracket, part, price_book, staff, supplier, tax_exemption,
    tax_jurisdiction, tax_level, tax_method, taxability, technician_rate, trip_zone,
};
use sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, Select,
};

use crate::base::{Error, Result};

pub async fn adopted_on(
    db: &impl ConnectionTrait,
    day: NaiveDate,
) -> Result<Option<price_book::Model>> {
    Ok(price_book::Entity::find()
        .filter(price_book::Column::State.eq(BookState::Adopted))
        .filter(price_book::Column::EffectiveFrom.lte(day))
        .order_by_desc(price_book::Column::EffectiveFrom)
        .one(db)
        .await?)
}

/// The adopted book that takes effect exactly on `day`.
pub async fn adopted_from(
    db: &impl ConnectionTrait,
    day: NaiveDate,
) -> Result<Option<price_book::Model>> {
    Ok(price_book::Entity::find()
        .filter(price_book::Column::State.eq(BookState::Adopted))
        .filter(price_book::Column::EffectiveFrom.eq(day))
        .one(db)
        .await?)
}

/// Drafts of this name for this day.
pub async fn drafted_as(
    db: &impl ConnectionTrait,
    name: &str,
    day: NaiveDate,
) -> Result<Vec<price_book::Model>> {
    Ok(price_book::Entity::find()
        .filter(price_book::Column::State.eq(BookState::Draft))
        .filter(price_book::Column::Name.eq(name))
        .filter(price_book::Column::EffectiveFrom.eq(day))
        .all(db)
        .await?)
}

/// # Errors
/// `NotFound` at `path`.
pub async fn get_book(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<price_book::Model> {
    price_book::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "price book"))
}

/// The brackets of a book, from the cheapest cost up.
pub async fn brackets_of(
    db: &impl ConnectionTrait,
    book_id: i64,
) -> Result<Vec<markup_bracket::Model>> {
    Ok(markup_bracket::Entity::find()
        .filter(markup_bracket::Column::PriceBookId.eq(book_id))
        .order_by_asc(markup_bracket::Column::Position)
        .all(db)
        .await?)
}

/// The grades of a book, in order.
pub async fn rates_of(db: &impl ConnectionTrait, book_id: i64) -> Result<Vec<labour_rate::Model>> {
    Ok(labour_rate::Entity::find()
        .filter(labour_rate::Column::PriceBookId.eq(book_id))
        .order_by_asc(labour_rate::Column::Position)
        .all(db)
        .await?)
}

/// The trip zones of a book, in order.
pub async fn zones_of(db: &impl ConnectionTrait, book_id: i64) -> Result<Vec<trip_zone::Model>> {
    Ok(trip_zone::Entity::find()
        .filter(trip_zone::Column::PriceBookId.eq(book_id))
        .order_by_asc(trip_zone::Column::Position)
        .all(db)
        .await?)
}

/// All tasks of a book, in order.
pub async fn tasks_of(
    db: &impl ConnectionTrait,
    book_id: i64,
) -> Result<Vec<flat_rate_task::Model>> {
    Ok(flat_rate_task::Entity::find()
        .filter(flat_rate_task::Column::PriceBookId.eq(book_id))
        .order_by_asc(flat_rate_task::Column::Position)
        .all(db)
        .await?)
}

/// Tasks of a book, narrowed to a type of machine (those for any included) and to a component.
pub fn listed_tasks(
    book_id: i64,
    appliance_type_id: Option<i64>,
    component_id: Option<i64>,
) -> Select<flat_rate_task::Entity> {
    let of_type = appliance_type_id.map(|id| {
        Condition::any()
            .add(flat_rate_task::Column::ApplianceTypeId.eq(id))
            .add(flat_rate_task::Column::ApplianceTypeId.is_null())
    });
    let about = component_id.map(|id| flat_rate_task::Column::ComponentId.eq(id));
    let mut narrowed = Condition::all();
    if let Some(of_type) = of_type {
        narrowed = narrowed.add(of_type);
    }
    if let Some(about) = about {
        narrowed = narrowed.add(about);
    }
    flat_rate_task::Entity::find()
        .filter(flat_rate_task::Column::PriceBookId.eq(book_id))
        .filter(narrowed)
}

/// The tasks of a book that stand for these ids: themselves, or those of the same key when another book lists them.
///
/// Two statements at most. What the book does not list is left out.
///
/// # Errors
/// Internal only.
pub async fn tasks_in(
    db: &impl ConnectionTrait,
    book_id: i64,
    ids: &[i64],
) -> Result<HashMap<i64, flat_rate_task::Model>> {
    if ids.is_empty() {
        return Ok(HashMap::new());
    }
    let asked = flat_rate_task::Entity::find()
        .filter(flat_rate_task::Column::Id.is_in(ids.iter().copied()))
        .all(db)
        .await?;
    let keys = asked.iter().map(|row| row.task_key.clone());
    let keys = keys.collect::<Vec<_>>();
    let listed = flat_rate_task::Entity::find()
        .filter(flat_rate_task::Column::PriceBookId.eq(book_id))
        .filter(flat_rate_task::Column::TaskKey.is_in(keys))
        .all(db)
        .await?;
    let listed: HashMap<_, _> = listed
        .into_iter()
        .map(|row| (row.task_key.clone(), row))
        .collect();
    Ok(asked
        .into_iter()
        .filter_map(|row| Some((row.id, listed.get(&row.task_key)?.clone())))
        .collect())
}

/// The part, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_part(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<part::Model> {
    part::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "part"))
}

/// The parts of these ids that exist, in one statement.
///
/// # Errors
/// Internal only.
pub async fn parts_by_id(db: &impl ConnectionTrait, ids: &[i64]) -> Result<Vec<part::Model>> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    Ok(part::Entity::find()
        .filter(part::Column::Id.is_in(ids.iter().copied()))
        .all(db)
        .await?)
}

/// The supplier, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_supplier(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<supplier::Model> {
    supplier::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "supplier"))
}

/// The supplier of this name, whatever its case.
pub async fn supplier_by_name(
    db: &impl ConnectionTrait,
    name: &str,
) -> Result<Option<supplier::Model>> {
    Ok(supplier::Entity::find()
        .filter(supplier::Column::NameKey.eq(name.to_lowercase()))
        .one(db)
        .await?)
}

/// The grade of each of these people who work here; none for somebody without a grade.
///
/// # Errors
/// Internal only.
pub async fn grades_of(
    db: &impl ConnectionTrait,
    staff_ids: &[i64],
) -> Result<HashMap<i64, Option<String>>> {
    if staff_ids.is_empty() {
        return Ok(HashMap::new());
    }
    let people = staff::Entity::find()
        .filter(staff::Column::Id.is_in(staff_ids.iter().copied()))
        .filter(staff::Column::LeftAt.is_null())
        .all(db)
        .await?;
    let grades = technician_rate::Entity::find()
        .filter(technician_rate::Column::StaffId.is_in(staff_ids.iter().copied()))
        .all(db)
        .await?;
    let mut found: HashMap<_, _> = people.into_iter().map(|row| (row.id, None)).collect();
    for grade in grades {
        if let Some(held) = found.get_mut(&grade.staff_id) {
            *held = Some(grade.rate_name);
        }
    }
    Ok(found)
}

/// The part with this number, as printed by its supplier.
pub async fn part_by_number(
    db: &impl ConnectionTrait,
    number: &str,
) -> Result<Option<part::Model>> {
    Ok(part::Entity::find()
        .filter(part::Column::Number.eq(number))
        .one(db)
        .await?)
}

/// # Errors
/// `NotFound`.
pub async fn get_jurisdiction(
    db: &impl ConnectionTrait,
    id: i64,
) -> Result<tax_jurisdiction::Model> {
    tax_jurisdiction::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found("taxJurisdictionId", "tax jurisdiction"))
}

/// The rules of this name that took effect last by `day`.
pub async fn jurisdiction_on(
    db: &impl ConnectionTrait,
    name: &str,
    day: NaiveDate,
) -> Result<Option<tax_jurisdiction::Model>> {
    Ok(tax_jurisdiction::Entity::find()
        .filter(tax_jurisdiction::Column::Name.eq(name))
        .filter(tax_jurisdiction::Column::EffectiveFrom.lte(day))
        .order_by_desc(tax_jurisdiction::Column::EffectiveFrom)
        .one(db)
        .await?)
}

/// The first rules of these names beside the ones with this id.
pub async fn other_rules_named(
    db: &impl ConnectionTrait,
    id: i64,
    names: &[&str],
) -> Result<Option<tax_jurisdiction::Model>> {
    Ok(tax_jurisdiction::Entity::find()
        .filter(tax_jurisdiction::Column::Name.is_in(names.iter().copied()))
        .filter(tax_jurisdiction::Column::Id.ne(id))
        .order_by_asc(tax_jurisdiction::Column::EffectiveFrom)
        .one(db)
        .await?)
}

pub async fn levels_of(
    db: &impl ConnectionTrait,
    jurisdiction_id: i64,
) -> Result<Vec<tax_level::Model>> {
    Ok(tax_level::Entity::find()
        .filter(tax_level::Column::TaxJurisdictionId.eq(jurisdiction_id))
        .order_by_asc(tax_level::Column::Position)
        .all(db)
        .await?)
}

pub async fn taxability_of(
    db: &impl ConnectionTrait,
    jurisdiction_id: i64,
) -> Result<Vec<taxability::Model>> {
    Ok(taxability::Entity::find()
        .filter(taxability::Column::TaxJurisdictionId.eq(jurisdiction_id))
        .all(db)
        .await?)
}

pub async fn methods_of(
    db: &impl ConnectionTrait,
    jurisdiction_id: i64,
) -> Result<Vec<tax_method::Model>> {
    Ok(tax_method::Entity::find()
        .filter(tax_method::Column::TaxJurisdictionId.eq(jurisdiction_id))
        .order_by_asc(tax_method::Column::FromOn)
        .all(db)
        .await?)
}

/// # Errors
/// `NotFound` at `taxExemptionId`.
pub async fn get_exemption(db: &impl ConnectionTrait, id: i64) -> Result<tax_exemption::Model> {
    tax_exemption::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found("taxExemptionId", "tax exemption"))
}

/// A customer's certificates, the latest first.
pub async fn exemptions_of(
    db: &impl ConnectionTrait,
    customer_id: i64,
) -> Result<Vec<tax_exemption::Model>> {
    Ok(tax_exemption::Entity::find()
        .filter(tax_exemption::Column::CustomerId.eq(customer_id))
        .order_by_desc(tax_exemption::Column::ValidFrom)
        .all(db)
        .await?)
}
