//! Where machines stand. Decides the tax jurisdiction.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `service_address`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "service_address")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub customer_id: i64,
    pub line1: String,
    pub line2: Option<String>,
    pub city: String,
    pub region: String,
    pub postal_code: String,
    /// ISO 3166 alpha-2.
    pub country: String,
    pub access_notes: Option<String>,
    pub tax_jurisdiction_id: Option<i64>,
    pub jurisdiction_confirmed_by: Option<i64>,
    pub jurisdiction_confirmed_at: Option<DateTimeUtc>,
    /// Name of the trip zone, where the desk has settled it.
    pub trip_zone: Option<String>,
    /// Distance from the shop, in the unit of its price books.
    pub trip_distance: Option<Exact>,
    /// What was proposed when it was confirmed, one name a line; empty when nothing was.
    pub jurisdictions_proposed: Option<String>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
