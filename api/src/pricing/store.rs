//! Rows of price books, parts, jurisdictions and certificates.

use chrono::NaiveDate;
use nameplate_entities::kinds::BookState;
use nameplate_entities::{
    markup_bracket, part, price_book, tax_exemption, tax_jurisdiction, tax_level, taxability,
};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

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
