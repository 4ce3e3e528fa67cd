//! What a place asks of documents and of bills above an estimate, from a day on.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;
use crate::kinds::WhenMissing;

/// One row of `local_rules`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "local_rules")]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is a yes-or-no question of its own that a place answers"
)]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    /// ISO 3166 alpha-2.
    pub country: String,
    /// Second half of the ISO 3166-2 code; empty for the whole country.
    pub region: String,
    pub name: String,
    pub effective_from: Date,
    /// Keys of what a written estimate holds, parted by blanks.
    pub estimate_elements: String,
    /// The same for a bill.
    pub bill_elements: String,
    pub when_missing: WhenMissing,
    /// How far a bill may pass the accepted total; none leaves the shop's own figure.
    pub consent_percent: Option<Exact>,
    /// Whether exactly the limit is still allowed.
    pub consent_limit_inside: bool,
    /// Whether tax counts on both sides of that comparison.
    pub consent_counts_tax: bool,
    /// Above this the customer gets the estimate in writing.
    pub written_over_cents: Option<i64>,
    pub note_oral_consent: bool,
    pub offer_removed_parts: bool,
    /// The least warranty on labour.
    pub labour_warranty_days: Option<i32>,
    /// A line of its own on documents.
    pub wording: Option<String>,
    pub created_at: DateTimeUtc,
    pub created_by: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
