//! Who moved a flag along, and the note.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::FlagState;

/// One row of `flag_step`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "flag_step")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub flag_id: i64,
    pub at: DateTimeUtc,
    pub staff_id: i64,
    pub state: FlagState,
    pub note: String,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
