//! A supplier's list of prices, received and looked through before it is taken over.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::{PartCondition, PriceListState};

/// One row of `price_list`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "price_list")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub supplier_id: i64,
    pub name: String,
    /// Which column holds what.
    pub columns_json: String,
    pub state: PriceListState,
    /// Which try to send it; an earlier one that still runs stops.
    pub upload: i32,
    /// SHA-256 of what was sent.
    pub content_hash: Option<String>,
    pub row_count: i64,
    pub bad_row_count: i64,
    pub new_count: i64,
    pub changed_count: i64,
    pub same_count: i64,
    pub begun_by: i64,
    pub begun_at: DateTimeUtc,
    /// When a row was last received.
    pub touched_at: DateTimeUtc,
    pub taken_over_at: Option<DateTimeUtc>,
    /// The condition of the parts it records for the first time; none where nobody said.
    pub part_condition: Option<PartCondition>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
