//! Whose a machine was, where it stood, and when.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `appliance_stay`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "appliance_stay")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub appliance_id: i64,
    pub customer_id: i64,
    pub service_address_id: i64,
    pub from_on: Date,
    pub until_on: Option<Date>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
