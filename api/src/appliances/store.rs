//! Rows of machines, their stays, and the lists of types, components and failure modes.

use nameplate_entities::{
    appliance, appliance_stay, appliance_type, component, failure_mode, service_call,
};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder,
    QuerySelect, Select,
};

use crate::base::own_work::Sight;
use crate::base::{Act, Error, Result};

/// The machines this caller may list. A technician lists those of own calls; a machine whose serial is at
/// hand may be looked up by any member of staff (`graphql/mod.rs`).
pub fn visible_to(act: &Act) -> Select<appliance::Entity> {
    appliance::Entity::find().filter(
        Sight::of(act).through_calls(appliance::Column::Id, service_call::Column::ApplianceId),
    )
}

/// The machine, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_appliance(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<appliance::Model> {
    by_id(db, id)
        .await?
        .ok_or_else(|| Error::not_found(path, "appliance"))
}

/// The machine, which the input names at `path`, if the caller may see it.
///
/// # Errors
/// `NotFound`, for a technician also for a machine of no own call.
pub async fn get_own_appliance(
    db: &impl ConnectionTrait,
    act: &Act,
    path: &str,
    id: i64,
) -> Result<appliance::Model> {
    visible_to(act)
        .filter(appliance::Column::Id.eq(id))
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "appliance"))
}

pub async fn by_id(db: &impl ConnectionTrait, id: i64) -> Result<Option<appliance::Model>> {
    Ok(appliance::Entity::find_by_id(id).one(db).await?)
}

/// Machines with this serial key, of this make if one is given. Two at most: more only says "several".
pub async fn by_serial(
    db: &impl ConnectionTrait,
    make_key: Option<&str>,
    serial_key: &str,
) -> Result<Vec<appliance::Model>> {
    let mut select = appliance::Entity::find().filter(appliance::Column::SerialKey.eq(serial_key));
    if let Some(make_key) = make_key {
        select = select.filter(appliance::Column::MakeKey.eq(make_key));
    }
    Ok(select
        .order_by_asc(appliance::Column::Id)
        .limit(2)
        .all(db)
        .await?)
}

pub async fn by_shop_tag(db: &impl ConnectionTrait, tag: &str) -> Result<Option<appliance::Model>> {
    Ok(appliance::Entity::find()
        .filter(appliance::Column::ShopTag.eq(tag))
        .one(db)
        .await?)
}

/// Other machines whose serial differs from this one's only in characters that people misread, or not at
/// all but under another make.
pub async fn near_matches(
    db: &impl ConnectionTrait,
    of: &appliance::Model,
) -> Result<Vec<appliance::Model>> {
    let Some(fold) = &of.serial_fold else {
        return Ok(Vec::new());
    };
    Ok(appliance::Entity::find()
        .filter(appliance::Column::SerialFold.eq(fold))
        .filter(appliance::Column::Id.ne(of.id))
        .order_by_asc(appliance::Column::Id)
        .limit(20)
        .all(db)
        .await?)
}

/// The stay of a machine that has not ended.
///
/// # Errors
/// Internal, when there is none, which no act leaves behind.
pub async fn present_stay(
    db: &impl ConnectionTrait,
    appliance_id: i64,
) -> Result<appliance_stay::Model> {
    appliance_stay::Entity::find()
        .filter(appliance_stay::Column::ApplianceId.eq(appliance_id))
        .filter(appliance_stay::Column::UntilOn.is_null())
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a machine has no present stay"))
}

pub async fn has_types(db: &impl ConnectionTrait) -> Result<bool> {
    Ok(appliance_type::Entity::find().count(db).await? > 0)
}

/// Every type of machine, by name. A short list: the shop does not extend it.
pub async fn types(db: &impl ConnectionTrait) -> Result<Vec<appliance_type::Model>> {
    Ok(appliance_type::Entity::find()
        .order_by_asc(appliance_type::Column::Name)
        .all(db)
        .await?)
}

/// The types with these ids, in one statement.
pub async fn types_by_ids(
    db: &impl ConnectionTrait,
    ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<appliance_type::Model>> {
    Ok(appliance_type::Entity::find()
        .filter(appliance_type::Column::Id.is_in(ids))
        .all(db)
        .await?)
}

/// The type of a machine.
///
/// # Errors
/// Internal, when it is gone, which the database does not allow.
pub async fn type_of(
    db: &impl ConnectionTrait,
    appliance: &appliance::Model,
) -> Result<appliance_type::Model> {
    appliance_type::Entity::find_by_id(appliance.appliance_type_id)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a machine is of no type"))
}

/// The type, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_type(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<appliance_type::Model> {
    appliance_type::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "type of appliance"))
}

pub async fn components_of(
    db: &impl ConnectionTrait,
    appliance_type_id: i64,
) -> Result<Vec<component::Model>> {
    Ok(component::Entity::find()
        .filter(component::Column::ApplianceTypeId.eq(appliance_type_id))
        .order_by_asc(component::Column::Id)
        .all(db)
        .await?)
}

/// The components with these ids, in one statement.
pub async fn components_by_ids(
    db: &impl ConnectionTrait,
    ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<component::Model>> {
    Ok(component::Entity::find()
        .filter(component::Column::Id.is_in(ids))
        .all(db)
        .await?)
}

/// The component, which the input names at `path`, of this machine's type.
///
/// # Errors
/// `NotFound`, also for a component of another type of machine.
pub async fn get_component_of(
    db: &impl ConnectionTrait,
    path: &str,
    (appliance, id): (&appliance::Model, i64),
) -> Result<component::Model> {
    component::Entity::find_by_id(id)
        .filter(component::Column::ApplianceTypeId.eq(appliance.appliance_type_id))
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "component of this type of machine"))
}

/// Every failure mode, in the order of the list.
pub async fn failure_modes(db: &impl ConnectionTrait) -> Result<Vec<failure_mode::Model>> {
    Ok(failure_mode::Entity::find()
        .order_by_asc(failure_mode::Column::Id)
        .all(db)
        .await?)
}

/// The failure mode, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_failure_mode(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<failure_mode::Model> {
    failure_mode::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "failure mode"))
}
