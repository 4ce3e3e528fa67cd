//! The shop's own promise on a repaired component.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `shop_warranty`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "shop_warranty")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub call_id: i64,
    pub appliance_id: i64,
    pub component_id: i64,
    pub written_on: Date,
    /// Last day of free labour; nothing when none was promised.
    pub labour_through: Option<Date>,
    /// Last day of free parts; nothing when none was promised.
    pub parts_through: Option<Date>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
