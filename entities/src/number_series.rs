//! The next number of each gapless series, taken inside the transaction that uses it.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `number_series`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "number_series")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub series: String,
    pub prefix: String,
    pub next_number: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
