//! What a part cost, from when.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `part_cost`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "part_cost")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub part_id: i64,
    pub cost_cents: i64,
    pub from_at: DateTimeUtc,
    /// The list it came from; none for one typed in.
    pub price_list_id: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
