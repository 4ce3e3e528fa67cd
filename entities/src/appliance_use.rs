//! What coverage asks of a machine beside its plate.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `appliance_use`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "appliance_use")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub appliance_id: i64,
    pub delivered_on: Option<Date>,
    /// Whether it is used in a business; none where nobody asked.
    pub in_business: Option<bool>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
