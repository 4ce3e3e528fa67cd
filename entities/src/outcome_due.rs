//! A machine whose outcomes are still to be worked out.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `outcome_due`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "outcome_due")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub appliance_id: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
