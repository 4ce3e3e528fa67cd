//! The parts of a machine that findings name.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `component`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "component")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub appliance_type_id: i64,
    pub name: String,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
