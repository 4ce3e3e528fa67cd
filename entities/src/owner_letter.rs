//! A mail to the owners that is made once for a day or a month, with what it says.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::OwnerLetterKind;

/// One row of `owner_letter`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "owner_letter")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub kind: OwnerLetterKind,
    /// The day it is about, or the first of the month.
    pub of_day: Date,
    pub made_at: DateTimeUtc,
    /// What it says, as it was then.
    #[serde(skip)]
    pub content_json: String,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
