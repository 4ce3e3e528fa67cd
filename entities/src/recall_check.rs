//! That somebody looked whether a recall is about a machine, or told the customer.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `recall_check`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "recall_check")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub recall_id: i64,
    pub appliance_id: i64,
    pub is_meant: bool,
    pub note: Option<String>,
    /// When the customer was told.
    pub told_on: Option<Date>,
    /// When the remedy was carried out.
    pub done_on: Option<Date>,
    pub checked_at: DateTimeUtc,
    pub checked_by: i64,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
