//! One line of an advice.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::AdviceOutcome;

/// One row of `advice_row`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "advice_row")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub advice_id: i64,
    /// Line of the file.
    pub position: i32,
    /// The claim as the payer names it.
    pub claim_text: String,
    /// The claim it is about, once known.
    pub claim_id: Option<i64>,
    pub paid_cents: i64,
    pub refused_cents: Option<i64>,
    pub reason_code: Option<String>,
    pub note: Option<String>,
    /// When it was posted to the claim.
    pub settled_at: Option<DateTimeUtc>,
    /// Why it is about no claim of the shop.
    pub set_aside_because: Option<String>,
    /// The day the payer names for it.
    pub paid_on: Option<Date>,
    /// What of it was laid against the claim's invoice.
    pub laid_cents: Option<i64>,
    /// What it made of the claim.
    pub outcome: Option<AdviceOutcome>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
