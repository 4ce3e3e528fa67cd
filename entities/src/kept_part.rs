//! A part taken out and kept for a payer, under a tag.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `kept_part`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "kept_part")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    /// The tag.
    pub number: String,
    pub call_id: i64,
    /// From the catalogue, where it is in it.
    pub part_id: Option<i64>,
    pub description: String,
    pub kept_at: DateTimeUtc,
    pub kept_by: i64,
    pub return_by: Option<Date>,
    pub sent_on: Option<Date>,
    /// Carrier and number of the parcel.
    pub sent_how: Option<String>,
    pub scrapped_on: Option<Date>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
