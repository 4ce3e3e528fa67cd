//! A common repair, ready to be offered.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `repair_template`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "repair_template")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    /// Name in the office.
    pub name: String,
    pub appliance_type_id: i64,
    pub component_id: Option<i64>,
    pub failure_mode_id: Option<i64>,
    /// Title of the option it becomes.
    pub title: String,
    pub summary: Option<String>,
    /// Remarks below the option.
    pub notes: Option<String>,
    /// What was found, as the customer reads it.
    pub found_text: Option<String>,
    pub deposit_percent: Option<Exact>,
    pub created_at: DateTimeUtc,
    /// Offered no more since then.
    pub retired_at: Option<DateTimeUtc>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
