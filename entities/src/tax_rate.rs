//! One row of a published rate table.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `tax_rate`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "tax_rate")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    /// Two digits.
    pub state_code: String,
    /// Two characters.
    pub jurisdiction_type: String,
    pub jurisdiction_code: String,
    pub intrastate_percent: Exact,
    pub interstate_percent: Exact,
    pub begins_on: Date,
    pub ends_on: Option<Date>,
    pub imported_at: DateTimeUtc,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
