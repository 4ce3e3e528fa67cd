//! One trip to an address. Its trip charge is charged once.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::{VisitReason, VisitState};

/// One row of `visit`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "visit")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub service_address_id: i64,
    pub technician_id: i64,
    pub planned_on: Date,
    /// Arrival window as told to the customer.
    pub window: Option<String>,
    pub state: VisitState,
    pub done_at: Option<DateTimeUtc>,
    pub version: i32,
    /// Why a call needed another visit.
    pub reason: Option<VisitReason>,
    pub reason_note: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
