//! A household or an organisation.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::CustomerKind;

/// One row of `customer`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "customer")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub kind: CustomerKind,
    pub name: String,
    pub email: Option<String>,
    pub phone_e164: Option<String>,
    pub billing_line1: Option<String>,
    pub billing_line2: Option<String>,
    pub billing_city: Option<String>,
    pub billing_region: Option<String>,
    pub billing_postal_code: Option<String>,
    /// ISO 3166 alpha-2.
    pub billing_country: Option<String>,
    /// Overrides the shop's payment terms.
    pub terms_days: Option<i32>,
    pub notes: Option<String>,
    pub created_at: DateTimeUtc,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
