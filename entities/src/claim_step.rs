//! What happened to a claim, in order. It never changes.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::{ClaimState, ClaimStep};

/// One row of `claim_step`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "claim_step")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub claim_id: i64,
    pub step: ClaimStep,
    /// The state after it.
    pub state: ClaimState,
    pub taken_on: Date,
    pub note: Option<String>,
    /// The payer's reason, by the open list.
    pub reason_code: Option<String>,
    /// Which release of the list.
    pub reason_release: Option<String>,
    /// Approved, refused or paid.
    pub cents: Option<i64>,
    pub taken_at: DateTimeUtc,
    /// None for what an advice brought.
    pub taken_by: Option<i64>,
    /// The line of an advice by which it was taken, or that it unsays.
    pub advice_row_id: Option<i64>,
    /// The payment, outside an advice, by which it was taken, or that it unsays.
    pub payment_id: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
