//! Who pays what of a call, as decided on a day. It never changes; a later one stands in its place.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `coverage_decision`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "coverage_decision")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub call_id: i64,
    /// The option whose lines were decided.
    pub estimate_option_id: Option<i64>,
    pub failed_on: Date,
    /// What was known.
    pub case_json: String,
    /// The lines decided, in order.
    pub lines_json: String,
    /// The programmes weighed, with their payers and terms.
    pub holdings_json: String,
    /// Splits, answers and reasons.
    pub decision_json: String,
    pub total_cents: i64,
    /// What the customer owes before tax.
    pub customer_cents: i64,
    /// What the customer owes if nothing that is missing turns up.
    pub at_most_cents: i64,
    /// Whether nothing is missing.
    pub is_sure: bool,
    /// The call, while no later decision stands in its place.
    pub standing_call_id: Option<i64>,
    pub decided_at: DateTimeUtc,
    pub decided_by: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
