//! Parts ordered from a supplier, perhaps for a call that waits for them.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;
use crate::kinds::PartOrderState;

/// One row of `part_order`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "part_order")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub number: String,
    pub part_id: i64,
    pub quantity: Exact,
    pub received_quantity: Exact,
    pub supplier_id: i64,
    /// The call that waits.
    pub call_id: Option<i64>,
    pub state: PartOrderState,
    /// The supplier's own number of it.
    pub reference: Option<String>,
    pub ordered_on: Date,
    pub expected_on: Option<Date>,
    /// The day the last piece came, or it was cancelled.
    pub closed_on: Option<Date>,
    pub closed_because: Option<String>,
    pub ordered_by: i64,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
