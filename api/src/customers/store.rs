//! Rows of customers, contacts and service addresses.

use nameplate_entities::{
    contact, customer, postal_jurisdiction, service_address, service_call, tax_jurisdiction,
};
use sea_orm::sea_query::Query;
use sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
    Select,
};

use crate::base::own_work::Sight;
use crate::base::{Act, Error, Result};

/// The customers this caller may see.
pub fn visible_to(act: &Act) -> Select<customer::Entity> {
    customer::Entity::find().filter(
        Sight::of(act).through_calls(customer::Column::Id, service_call::Column::CustomerId),
    )
}

/// The service addresses this caller may see.
pub fn addresses_visible_to(act: &Act) -> Select<service_address::Entity> {
    service_address::Entity::find().filter(Sight::of(act).through_calls(
        service_address::Column::Id,
        service_call::Column::ServiceAddressId,
    ))
}

/// The customer, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_customer(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<customer::Model> {
    customer::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "customer"))
}

/// The service address, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_address(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<service_address::Model> {
    service_address::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "service address"))
}

/// Customers other than `but` who share a telephone number, an e-mail address or the exact name.
pub async fn likely_duplicates(
    db: &impl ConnectionTrait,
    of: &customer::Model,
) -> Result<Vec<customer::Model>> {
    let mut same = Condition::any().add(customer::Column::Name.eq(&of.name));
    if let Some(phone) = &of.phone_e164 {
        same = same.add(customer::Column::PhoneE164.eq(phone));
    }
    if let Some(email) = &of.email {
        same = same.add(customer::Column::Email.eq(email));
    }
    Ok(customer::Entity::find()
        .filter(customer::Column::Id.ne(of.id))
        .filter(same)
        .order_by_asc(customer::Column::Id)
        .limit(20)
        .all(db)
        .await?)
}

/// All service addresses of a customer, for what the search box finds the customer by.
pub async fn addresses_of(
    db: &impl ConnectionTrait,
    customer_id: i64,
) -> Result<Vec<service_address::Model>> {
    Ok(service_address::Entity::find()
        .filter(service_address::Column::CustomerId.eq(customer_id))
        .all(db)
        .await?)
}

/// All contacts of a customer, likewise.
pub async fn contacts_of(
    db: &impl ConnectionTrait,
    customer_id: i64,
) -> Result<Vec<contact::Model>> {
    Ok(contact::Entity::find()
        .filter(contact::Column::CustomerId.eq(customer_id))
        .all(db)
        .await?)
}

/// An address as one line.
pub fn address_line(row: &service_address::Model) -> String {
    let street = [Some(row.line1.as_str()), row.line2.as_deref()]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(", ");
    format!("{street}, {}, {} {}", row.city, row.region, row.postal_code)
}

/// The tax jurisdictions that a postal code may lie in, the newest rules of each first in their name's order. A longer
/// code such as 00412-3301 is tried whole, then by what stands before its dash.
///
/// # Errors
/// Internal only.
pub async fn jurisdictions_proposed(
    db: &impl ConnectionTrait,
    postal_code: &str,
) -> Result<Vec<tax_jurisdiction::Model>> {
    let whole = postal_code.trim();
    let short = whole.split('-').next().unwrap_or(whole).trim();
    let mut codes = vec![whole];
    if short != whole {
        codes.push(short);
    }
    for code in codes {
        let assigned = Query::select()
            .column(postal_jurisdiction::Column::TaxJurisdictionId)
            .from(postal_jurisdiction::Entity)
            .and_where(postal_jurisdiction::Column::PostalCode.eq(code))
            .to_owned();
        let rows = tax_jurisdiction::Entity::find()
            .filter(tax_jurisdiction::Column::Id.in_subquery(assigned))
            .order_by_asc(tax_jurisdiction::Column::Name)
            .all(db)
            .await?;
        if !rows.is_empty() {
            return Ok(rows);
        }
    }
    Ok(Vec::new())
}
