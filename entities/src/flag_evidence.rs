//! The calls a flag rests on: repairs that came back, failures that were found.

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
    /// The day that call was completed; of a flag about several machines, that on which it was taken while it was not.
    pub completed_on: Date,
    /// What was done, as the flag was told it.
    pub method: Option<Method>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
