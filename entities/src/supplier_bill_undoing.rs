//! A supplier's bill or credit that was recorded by mistake, and from which day it counts no more.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `supplier_bill_undoing`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "supplier_bill_undoing")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub bill_id: i64,
    pub undone_on: Date,
    pub reason: String,
    pub recorded_at: DateTimeUtc,
    pub recorded_by: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
