//! Whether a kind of charge is taxed there, and why.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::ChargeKind;

/// One row of `taxability`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "taxability")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub tax_jurisdiction_id: i64,
    pub charge_kind: ChargeKind,
    pub taxable: bool,
    pub reason: String,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
