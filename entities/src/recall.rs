//! A safety recall.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `recall`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "recall")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    /// Who published it.
    pub source: String,
    pub number: String,
    pub published_on: Date,
    pub title: String,
    pub hazard: String,
    pub remedy: String,
    pub url: Option<String>,
    pub withdrawn_on: Option<Date>,
    pub imported_at: DateTimeUtc,
    pub imported_by: i64,
    pub version: i32,
    /// A print of the products that the publisher named last.
    pub products_print: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
