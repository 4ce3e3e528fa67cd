//! What a customer asked on the page of an estimate, and the answer.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `estimate_question`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "estimate_question")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub estimate_id: i64,
    /// The revision that was on the page.
    pub revision_id: i64,
    pub asked_at: DateTimeUtc,
    /// Network address of the question.
    pub asked_from: Option<String>,
    pub question: String,
    pub answer: Option<String>,
    pub answered_at: Option<DateTimeUtc>,
    pub answered_by: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
