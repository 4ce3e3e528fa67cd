//! The grade of a technician, by the name of a rate.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `technician_rate`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "technician_rate")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub staff_id: i64,
    pub rate_name: String,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
