//! One complaint about one appliance, from the phone ringing to closed.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::{CallKind, CallState};

/// One row of `service_call`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "service_call")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub number: String,
    pub appliance_id: i64,
    pub customer_id: i64,
    pub service_address_id: i64,
    pub kind: CallKind,
    pub complaint: String,
    pub state: CallState,
    pub opened_at: DateTimeUtc,
    pub opened_on: Date,
    pub completed_at: Option<DateTimeUtc>,
    pub completed_on: Option<Date>,
    pub root_cause: Option<String>,
    pub opened_by: Option<i64>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
