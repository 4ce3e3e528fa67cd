//! What is known of the people and the place: contacts, what is owed, other machines there, trips, and parts on order.

use std::collections::HashMap;

use nameplate_entities::{
    appliance, appliance_type, contact, part, part_order, receivable, staff, visit, visit_call,
};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Expr, ExprTrait, Order, Query};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder,
};

use crate::base::{Result, joined};

use super::first_of_each;

/// Most people to reach for one customer.
const CONTACTS_MAX: u64 = 20;
/// Most other machines at the address; a house has fewer, an apartment block may have more.
pub const OTHER_MACHINES_MAX: usize = 50;
/// The machine itself is one of those at its address.
const MACHINES_MAX: u64 = 51;
/// Most orders of parts for one call; a repair waits for a handful.
const PART_ORDERS_MAX: u64 = 50;
/// In the order in which rows were written.
const AS_WRITTEN: &str = "id";

/// Another machine at the address.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Machine {
    #[sea_orm(nested(prefix = "appliance_"))]
    pub appliance: appliance::Model,
    #[sea_orm(nested(prefix = "appliance_type_"))]
    pub appliance_type: appliance_type::Model,
}

/// A visit, who makes it, and the call it serves.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Trip {
    #[sea_orm(nested(prefix = "visit_"))]
    pub visit: visit::Model,
    #[sea_orm(nested(prefix = "staff_"))]
    pub technician: staff::Model,
    #[sea_orm(nested(prefix = "visit_call_"))]
    pub served: visit_call::Model,
}

/// Parts ordered for the call.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Ordered {
    #[sea_orm(nested(prefix = "part_order_"))]
    pub order: part_order::Model,
    #[sea_orm(nested(prefix = "part_"))]
    pub part: part::Model,
}

pub async fn contacts(
    db: &impl ConnectionTrait,
    customer_ids: &[i64],
) -> Result<Vec<contact::Model>> {
    let of = contact::Column::CustomerId;
    let first = first_of_each::<contact::Entity>(of, customer_ids, (AS_WRITTEN, CONTACTS_MAX));
    Ok(contact::Entity::find()
        .filter(contact::Column::Id.in_subquery(first))
        .order_by_asc(contact::Column::Id)
        .all(db)
        .await?)
}

/// What these customers still owe on all issued invoices; those who owe nothing may be left out.
pub async fn balances(
    db: &impl ConnectionTrait,
    customer_ids: &[i64],
) -> Result<HashMap<i64, Cents>> {
    let mut query = Query::select();
    query
        .column(receivable::Column::CustomerId)
        .expr_as(
            Expr::col(receivable::Column::OpenCents)
                .sum()
                .cast_as("BIGINT"),
            "open_cents",
        )
        .from(receivable::Entity)
        .and_where(receivable::Column::CustomerId.is_in(customer_ids.iter().copied()))
        .group_by_col(receivable::Column::CustomerId);
    let rows = db.query_all(&query).await?;
    let balance = |row: &sea_orm::QueryResult| {
        let open_cents = row.try_get("", "open_cents")?;
        Ok((row.try_get("", "customer_id")?, Cents(open_cents)))
    };
    rows.iter().map(balance).collect()
}

/// All machines at these addresses.
pub async fn machines(db: &impl ConnectionTrait, address_ids: &[i64]) -> Result<Vec<Machine>> {
    let of = appliance::Column::ServiceAddressId;
    let first = first_of_each::<appliance::Entity>(of, address_ids, (AS_WRITTEN, MACHINES_MAX));
    let mut query = joined::select::<appliance::Entity>();
    joined::to::<appliance_type::Entity>(&mut query, ("appliance", "appliance_type_id", "id"));
    query
        .and_where(appliance::Column::Id.in_subquery(first))
        .order_by((appliance::Entity, appliance::Column::Id), Order::Asc);
    joined::all(db, &query).await
}

/// Visits of these calls, in the order in which they are planned.
pub async fn visits(db: &impl ConnectionTrait, call_ids: &[i64]) -> Result<Vec<Trip>> {
    let mut query = joined::select::<visit::Entity>();
    joined::to::<staff::Entity>(&mut query, ("visit", "technician_id", "id"));
    joined::to::<visit_call::Entity>(&mut query, ("visit", "id", "visit_id"));
    query
        .and_where(visit_call::Column::CallId.is_in(call_ids.iter().copied()))
        .order_by((visit::Entity, visit::Column::PlannedOn), Order::Asc)
        .order_by((visit::Entity, visit::Column::Id), Order::Asc);
    joined::all(db, &query).await
}

pub async fn part_orders(db: &impl ConnectionTrait, call_ids: &[i64]) -> Result<Vec<Ordered>> {
    let of = part_order::Column::CallId;
    let first = first_of_each::<part_order::Entity>(of, call_ids, (AS_WRITTEN, PART_ORDERS_MAX));
    let mut query = joined::select::<part_order::Entity>();
    joined::to::<part::Entity>(&mut query, ("part_order", "part_id", "id"));
    query
        .and_where(part_order::Column::Id.in_subquery(first))
        .order_by((part_order::Entity, part_order::Column::Id), Order::Asc);
    joined::all(db, &query).await
}
