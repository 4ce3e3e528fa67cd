//! What the shop asks of a warranty payer for one call under one programme.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::ClaimState;

/// One row of `claim`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "claim")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub number: String,
    pub call_id: i64,
    pub payer_id: i64,
    pub terms_id: i64,
    pub programme_id: i64,
    pub cover_id: Option<i64>,
    pub decision_id: i64,
    /// The payer's invoice of the call.
    pub invoice_id: i64,
    pub state: ClaimState,
    /// With tax: what the invoice asks.
    pub claimed_cents: i64,
    pub file_by: Option<Date>,
    pub submitted_on: Option<Date>,
    /// The payer's own number of it.
    pub payer_reference: Option<String>,
    /// What the customer noticed.
    pub complaint: String,
    /// What was found and done.
    pub diagnosis: String,
    /// Codes of the failure in the industry's scheme.
    pub codes_json: Option<String>,
    pub drafted_at: DateTimeUtc,
    pub drafted_by: i64,
    pub version: i32,
    /// The call again while the claim stands, so that a programme has one standing claim of it; none once it is void.
    pub standing_call_id: Option<i64>,
    /// The invoice again while the claim stands, so that it has one standing claim; none once it is void.
    pub standing_invoice_id: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
