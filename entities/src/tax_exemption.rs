//! A customer's exemption certificate.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::CertificatePurchases;

/// One row of `tax_exemption`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "tax_exemption")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub customer_id: i64,
    pub certificate: String,
    pub reason: String,
    pub valid_from: Date,
    pub valid_until: Option<Date>,
    pub buyer_name: Option<String>,
    pub business_address: Option<String>,
    pub tax_id: Option<String>,
    pub business_type: Option<String>,
    /// Day the shop took it; none while the customer only says to be exempt.
    pub received_on: Option<Date>,
    pub purchases: CertificatePurchases,
    /// Day of the last purchase billed under it.
    pub last_purchase_on: Option<Date>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
