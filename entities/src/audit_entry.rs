//! Who changed what, when, from what to what.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `audit_entry`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "audit_entry")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub at: DateTimeUtc,
    /// Nobody when a customer or the program itself acted.
    pub staff_id: Option<i64>,
    /// Staff, customer link or program, in words.
    pub actor: String,
    pub act: String,
    pub subject_kind: String,
    pub subject_id: i64,
    pub before_json: Option<String>,
    pub after_json: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
