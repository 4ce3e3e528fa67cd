//! Rows of payers, programmes, what machines hold, and kept parts.

use chrono::NaiveDate;
use nameplate_entities::{
    appliance, appliance_cover, appliance_use, kept_part, programme_terms, warranty_payer,
    warranty_programme,
};
use nameplate_rules::recall::model_fits;
use nameplate_rules::serial::SerialKey;
use sea_orm::{ColumnTrait, Condition, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::base::{Error, Result};

/// The payer, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_payer(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<warranty_payer::Model> {
    warranty_payer::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "warranty payer"))
}

pub async fn payer_of_customer(
    db: &impl ConnectionTrait,
    customer_id: i64,
) -> Result<Option<warranty_payer::Model>> {
    Ok(warranty_payer::Entity::find()
        .filter(warranty_payer::Column::CustomerId.eq(customer_id))
        .one(db)
        .await?)
}

/// The payers that these customer records are of.
///
/// # Errors
/// Internal only.
pub async fn payers_of_customers(
    db: &impl ConnectionTrait,
    customer_ids: &[i64],
) -> Result<Vec<warranty_payer::Model>> {
    Ok(warranty_payer::Entity::find()
        .filter(warranty_payer::Column::CustomerId.is_in(customer_ids.iter().copied()))
        .all(db)
        .await?)
}

/// The programme, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_programme(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<warranty_programme::Model> {
    warranty_programme::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "warranty programme"))
}

pub async fn has_programme(
    db: &impl ConnectionTrait,
    (payer_id, name_key): (i64, &str),
) -> Result<bool> {
    let found = warranty_programme::Entity::find()
        .filter(warranty_programme::Column::PayerId.eq(payer_id))
        .filter(warranty_programme::Column::NameKey.eq(name_key))
        .one(db)
        .await?;
    Ok(found.is_some())
}

pub async fn has_terms(
    db: &impl ConnectionTrait,
    (programme_id, day): (i64, NaiveDate),
) -> Result<bool> {
    let found = programme_terms::Entity::find()
        .filter(programme_terms::Column::ProgrammeId.eq(programme_id))
        .filter(programme_terms::Column::AppliesFrom.eq(day))
        .one(db)
        .await?;
    Ok(found.is_some())
}

/// The terms of these programmes, those of one programme by their day.
///
/// # Errors
/// Internal only.
pub async fn terms_of(
    db: &impl ConnectionTrait,
    programme_ids: &[i64],
) -> Result<Vec<programme_terms::Model>> {
    Ok(programme_terms::Entity::find()
        .filter(programme_terms::Column::ProgrammeId.is_in(programme_ids.iter().copied()))
        .order_by_asc(programme_terms::Column::ProgrammeId)
        .order_by_asc(programme_terms::Column::AppliesFrom)
        .all(db)
        .await?)
}

/// The registration, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_cover(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<appliance_cover::Model> {
    appliance_cover::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "cover"))
}

/// All that was ever registered on a machine, oldest first.
///
/// # Errors
/// Internal only.
pub async fn covers_of(
    db: &impl ConnectionTrait,
    appliance_id: i64,
) -> Result<Vec<appliance_cover::Model>> {
    Ok(appliance_cover::Entity::find()
        .filter(appliance_cover::Column::ApplianceId.eq(appliance_id))
        .order_by_asc(appliance_cover::Column::Id)
        .all(db)
        .await?)
}

pub async fn contract_of(
    db: &impl ConnectionTrait,
    (programme_id, number): (i64, &str),
) -> Result<Option<appliance_cover::Model>> {
    Ok(appliance_cover::Entity::find()
        .filter(appliance_cover::Column::ProgrammeId.eq(programme_id))
        .filter(appliance_cover::Column::ContractNumber.eq(number))
        .filter(appliance_cover::Column::EndedOn.is_null())
        .one(db)
        .await?)
}

/// The programmes that come with a machine's make, type and model, and those named.
///
/// # Errors
/// Internal only.
pub async fn programmes_for(
    db: &impl ConnectionTrait,
    machine: &appliance::Model,
    named: &[i64],
) -> Result<Vec<warranty_programme::Model>> {
    use warranty_programme::Column;
    let of_type = Condition::any()
        .add(Column::ApplianceTypeId.is_null())
        .add(Column::ApplianceTypeId.eq(machine.appliance_type_id));
    let of_make = Condition::all()
        .add(Column::MakeKey.eq(machine.make_key.as_str()))
        .add(of_type);
    let rows = warranty_programme::Entity::find()
        .filter(
            Condition::any()
                .add(of_make)
                .add(Column::Id.is_in(named.iter().copied())),
        )
        .order_by_asc(Column::Id)
        .all(db)
        .await?;
    let model_key = SerialKey::parse(&machine.model).map(String::from);
    let model = model_key.unwrap_or_default();
    let fits = |row: &warranty_programme::Model| {
        named.contains(&row.id)
            || (row.model_pattern.as_deref()).is_none_or(|pattern| model_fits(pattern, &model))
    };
    Ok(rows.into_iter().filter(fits).collect())
}

/// What cover asks of a machine beside its plate, if it was ever written down.
///
/// # Errors
/// Internal only.
pub async fn use_of(
    db: &impl ConnectionTrait,
    appliance_id: i64,
) -> Result<Option<appliance_use::Model>> {
    Ok(appliance_use::Entity::find_by_id(appliance_id)
        .one(db)
        .await?)
}

/// The kept part, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_kept_part(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<kept_part::Model> {
    kept_part::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "kept part"))
}

/// What was kept of a call, oldest first.
///
/// # Errors
/// Internal only.
pub async fn kept_of_call(
    db: &impl ConnectionTrait,
    call_id: i64,
) -> Result<Vec<kept_part::Model>> {
    Ok(kept_part::Entity::find()
        .filter(kept_part::Column::CallId.eq(call_id))
        .order_by_asc(kept_part::Column::Id)
        .all(db)
        .await?)
}

/// The payers with these ids, in one statement.
///
/// # Errors
/// Internal only.
pub async fn payers_by_ids(
    db: &impl ConnectionTrait,
    ids: &[i64],
) -> Result<Vec<warranty_payer::Model>> {
    Ok(warranty_payer::Entity::find()
        .filter(warranty_payer::Column::Id.is_in(ids.iter().copied()))
        .all(db)
        .await?)
}
