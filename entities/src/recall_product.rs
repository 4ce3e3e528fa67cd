//! Which machines a recall is about.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `recall_product`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "recall_product")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub recall_id: i64,
    pub make: String,
    pub make_key: String,
    pub model_pattern: Option<String>,
    pub serial_from: Option<String>,
    pub serial_through: Option<String>,
    pub description: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
