//! The earlier repairs a flag rests on.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::Method;

/// One row of `flag_evidence`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "flag_evidence")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub flag_id: i64,
    pub call_id: i64,
    pub finding_id: i64,
    /// The day that call was completed; for what machines share at an address, that on which it was taken while it was not.
    pub completed_on: Date,
    /// Days from then to the day on which the flag's own call was taken.
    pub days_before: i32,
    pub method: Option<Method>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
