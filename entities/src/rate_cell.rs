//! How many repairs of a group, month and component came back at which age.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::Dimension;

/// One row of `rate_cell`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "rate_cell")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub dimension: Dimension,
    #[sea_orm(primary_key, auto_increment = false)]
    pub group_key: String,
    #[sea_orm(primary_key, auto_increment = false)]
    /// First day of the month of completion.
    pub month: Date,
    #[sea_orm(primary_key, auto_increment = false)]
    pub component_id: i64,
    #[sea_orm(primary_key, auto_increment = false)]
    /// Age of the return; 0 for repairs that did not come back.
    pub age_days: i32,
    pub repairs: i64,
    /// Of these, how many came back for a component repaired then.
    pub same_component: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
