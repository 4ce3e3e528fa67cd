//! Which calls a visit serves.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `visit_call`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "visit_call")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub visit_id: i64,
    pub call_id: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
