//! How many years a type of machine usually lasts, and who says so.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::LifeFuel;

/// One row of `expected_life`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "expected_life")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub appliance_type_id: i64,
    pub fuel: LifeFuel,
    pub years: i32,
    /// Where the figure comes from, with its year.
    pub source: String,
    /// What to know before using it.
    pub caution: Option<String>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
