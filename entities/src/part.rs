//! A part the shop sells.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::PartCondition;

/// One row of `part`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "part")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub number: String,
    pub description: String,
    pub supplier_id: Option<i64>,
    pub cost_cents: i64,
    pub fixed_price_cents: Option<i64>,
    pub list_price_cents: Option<i64>,
    pub maker_warranty_months: Option<i32>,
    /// The part that took its place.
    pub superseded_by_id: Option<i64>,
    /// The class of component it is, as flags name it.
    pub component_class: Option<String>,
    /// What the supplier holds back until the old part is returned.
    pub core_deposit_cents: Option<i64>,
    /// What it costs to have one sent.
    pub freight_cents: Option<i64>,
    /// New, used or rebuilt; none where nobody said.
    pub condition: Option<PartCondition>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
