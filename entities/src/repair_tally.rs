//! How often a kind of repair was done and came back, kept up as calls complete.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `repair_tally`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "repair_tally")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub component_id: i64,
    pub failure_mode_id: i64,
    pub repairs: i64,
    pub returned: i64,
    /// Day of each machine's first such repair, in days since 1970-01-01, summed over machines.
    pub first_days: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
