//! A posting that is matched.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `bank_match_posting`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "bank_match_posting")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub posting_id: i64,
    pub match_id: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
