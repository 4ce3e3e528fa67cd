//! Work with the hours it is listed with, whatever the clock says.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `flat_rate_task`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "flat_rate_task")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub price_book_id: i64,
    pub position: i32,
    /// The same in every book, so that a copy of a book is compared task by task.
    pub task_key: String,
    pub name: String,
    /// What the customer reads; the name when there is none.
    pub description: Option<String>,
    pub appliance_type_id: Option<i64>,
    pub component_id: Option<i64>,
    pub hours: Exact,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
