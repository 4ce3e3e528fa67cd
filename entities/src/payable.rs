//! What is still open on a bill of a supplier, or left of a credit.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::SupplierBillKind;

/// One row of `payable`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "payable")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub bill_id: i64,
    pub supplier_id: i64,
    pub kind: SupplierBillKind,
    pub due_on: Date,
    pub open_cents: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
