//! What is wrong in a line of a supplier's list.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::RowFault;

/// One row of `price_list_fault`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "price_list_fault")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub price_list_id: i64,
    pub line: i64,
    pub column_name: Option<String>,
    pub reason: RowFault,
    pub message: String,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
