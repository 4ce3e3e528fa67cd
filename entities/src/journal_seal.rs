//! The hash of one journal entry, over its content and the hash before it.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `journal_seal`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "journal_seal")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub entry_id: i64,
    /// Empty for an entry older than the chain until the program opens.
    pub hash: String,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
