//! The terms of a programme from a day on. They never change; new ones are written beside them.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `programme_terms`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "programme_terms")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub programme_id: i64,
    /// For cover that begins on this day or later.
    pub applies_from: Date,
    /// Whether cover goes with the machine when it changes hands.
    pub stays_with_machine: bool,
    /// Within how many days after completion a claim is filed.
    pub days_to_file: Option<i32>,
    /// Segments, exclusions, evidence, rates, as the rules read them.
    pub terms_json: String,
    pub written_at: DateTimeUtc,
    pub written_by: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
