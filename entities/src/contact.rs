//! A further person to reach at a customer.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `contact`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "contact")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub customer_id: i64,
    pub name: String,
    pub role: Option<String>,
    pub phone_e164: Option<String>,
    pub email: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
