//! That the customer agreed to work: to more than the accepted estimate, or without one.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::ConsentHow;

/// One row of `call_consent`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "call_consent")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub call_id: i64,
    /// The accepted revision it goes beyond; none where nothing was accepted.
    pub estimate_revision_id: Option<i64>,
    pub added_work: String,
    pub added_total_cents: i64,
    /// Who agreed.
    pub authorised_by: String,
    pub how: ConsentHow,
    /// Number called or calling.
    pub telephone: Option<String>,
    pub conditions: Option<String>,
    pub given_at: DateTimeUtc,
    pub recorded_at: DateTimeUtc,
    /// Who received it.
    pub recorded_by: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
