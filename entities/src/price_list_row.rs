//! One row of a supplier's list that could be read.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::RowOutcome;

/// One row of `price_list_row`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "price_list_row")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub price_list_id: i64,
    pub line: i64,
    pub number: String,
    pub description: String,
    /// Words for the search box.
    pub found_by: String,
    pub cost_cents: i64,
    pub list_price_cents: Option<i64>,
    /// The part on record with this number.
    pub part_id: Option<i64>,
    pub old_cost_cents: Option<i64>,
    pub outcome: RowOutcome,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
