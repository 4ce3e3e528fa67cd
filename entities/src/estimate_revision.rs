//! One revision: changed only while a draft, frozen once sent.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::{AnswerWay, EstimateDelivery, EstimateState};

/// One row of `estimate_revision`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "estimate_revision")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub estimate_id: i64,
    pub revision: i32,
    pub state: EstimateState,
    pub price_book_id: i64,
    pub tax_jurisdiction_id: i64,
    /// What was found, as the customer reads it.
    pub found_text: String,
    pub notes: Option<String>,
    pub drafted_at: DateTimeUtc,
    pub valid_until: Option<Date>,
    /// The frozen content.
    pub content_json: Option<String>,
    /// SHA-256 of the content.
    pub content_hash: Option<String>,
    pub sent_at: Option<DateTimeUtc>,
    pub answered_at: Option<DateTimeUtc>,
    pub answered_name: Option<String>,
    /// Network address of the answer.
    pub answered_from: Option<String>,
    pub decline_reason: Option<String>,
    /// The sentence agreed to by accepting, and its SHA-256.
    pub consent_text: Option<String>,
    pub consent_hash: Option<String>,
    pub accepted_option_id: Option<i64>,
    /// The call, once accepted: one accepted estimate a call.
    pub accepted_call_id: Option<i64>,
    pub version: i32,
    /// The offer as typed, so that it can be offered again at other prices.
    #[serde(skip)]
    pub offer_json: Option<String>,
    /// Whether the customer is shown the figures of repair or replace.
    pub weighs_replacement: bool,
    /// What a new machine would cost, as the office typed it.
    pub replacement_price_cents: Option<i64>,
    /// How it reached the customer.
    pub delivery: Option<EstimateDelivery>,
    /// Day of the next reminder, while it waits for an answer.
    pub next_reminder_on: Option<Date>,
    /// How the answer came.
    pub answered_by: Option<AnswerWay>,
    pub answered_phone: Option<String>,
    /// What was noted beside the answer.
    pub answer_note: Option<String>,
    /// Who took an answer that did not come by the link.
    pub answer_received_by: Option<i64>,
    /// Whether its invoice was taken back, so that another estimate may take its place.
    pub billing_taken_back: bool,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
