//! A customer's exemption certificate.

use sea_orm::entity::prelude::*;
use serde::Serialize;

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
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
