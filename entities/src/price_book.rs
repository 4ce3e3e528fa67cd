//! Rates and rules of one period; never edited once adopted.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;
use crate::kinds::{BookState, DistanceUnit, MarkupKind, PriceEnding};

/// One row of `price_book`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "price_book")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub name: String,
    pub effective_from: Date,
    pub state: BookState,
    pub hourly_rate_cents: i64,
    /// Whether the first hour is billed whole.
    pub first_hour_minimum: bool,
    /// How much the first hour is: the least time billed where it is billed whole.
    pub minimum_minutes: i32,
    pub increment_minutes: i32,
    pub after_hours_multiplier: Exact,
    /// What a second technician adds, as a share of the first one's price.
    pub second_technician_share: Exact,
    pub trip_cents: i64,
    /// Unit of the distances of its zones.
    pub distance_unit: Option<DistanceUnit>,
    pub diagnostic_cents: i64,
    /// Whether the diagnostic charge is credited when the repair is accepted.
    pub diagnostic_credited: bool,
    pub markup_kind: MarkupKind,
    pub minimum_markup_cents: i64,
    /// Most a part earns over its cost; none for no cap.
    pub maximum_markup_cents: Option<i64>,
    pub price_ending: PriceEnding,
    pub adopted_at: Option<DateTimeUtc>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
