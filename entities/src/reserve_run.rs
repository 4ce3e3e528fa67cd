//! The warranty reserve as worked out at the end of a month.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `reserve_run`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "reserve_run")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    /// Last day of the month.
    pub through_on: Date,
    pub opening_cents: i64,
    /// What promises cost; zero or below.
    pub used_cents: i64,
    /// For promises made in the month.
    pub new_cents: i64,
    /// For earlier promises.
    pub earlier_cents: i64,
    pub closing_cents: i64,
    /// None where nothing was to post.
    pub entry_id: Option<i64>,
    /// Days of free labor that the shop promised when this was worked out.
    pub promise_days: i32,
    pub run_at: DateTimeUtc,
    pub run_by: i64,
    /// The last day of the month again while the run stands; none once it was undone.
    pub standing_on: Option<Date>,
    pub undone_at: Option<DateTimeUtc>,
    pub undone_by: Option<i64>,
    pub undone_because: Option<String>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
