//! One charge of a template; what is left out comes from the price book of the day.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;
use crate::kinds::ChargeKind;

/// One row of `repair_template_line`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "repair_template_line")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub template_id: i64,
    pub position: i32,
    pub kind: ChargeKind,
    pub section: Option<String>,
    pub description: Option<String>,
    pub part_id: Option<i64>,
    /// Key of a task, which each price book prices anew.
    pub task_key: Option<String>,
    pub quantity: Option<Exact>,
    pub minutes: Option<i32>,
    /// Price of one instead of the book's.
    pub unit_price_cents: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
