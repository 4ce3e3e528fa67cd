//! The one row of shop settings.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `shop`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "shop")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub name: String,
    pub phone_e164: String,
    pub email: String,
    pub line1: String,
    pub line2: Option<String>,
    pub city: String,
    pub region: String,
    pub postal_code: String,
    /// ISO 3166 alpha-2.
    pub country: String,
    /// Registration or licence line printed on documents.
    pub licence: Option<String>,
    /// ISO 4217; fixed once money was posted.
    pub currency: String,
    /// IANA name; decides what day it is.
    pub time_zone: String,
    pub callback_window_days: i32,
    pub labour_warranty_days: i32,
    pub parts_warranty_months: i32,
    pub estimate_valid_days: i32,
    pub payment_terms_days: i32,
    /// How far an invoice may pass the accepted total before a consent is needed.
    pub consent_percent: Exact,
    /// Whether exactly the limit is still allowed.
    pub consent_limit_inside: bool,
    pub reading_tolerance_percent: Exact,
    /// Last closed day; nothing posts on or before it.
    pub books_closed_through: Option<Date>,
    pub version: i32,
    /// Days after sending an estimate until the first reminder; zero for none.
    pub reminder_first_days: i32,
    /// The same until the second.
    pub reminder_second_days: i32,
    /// Whether the customer is told on the day before the last.
    pub reminder_last_day: bool,
    /// Whether each owner gets a mail on days when something came back.
    pub flag_digest: bool,
    /// The month whose last day ends the fiscal year, 1 to 12.
    pub fiscal_year_end_month: i32,
    /// Number under which the shop pays over sales tax; e-invoices name it.
    pub tax_registration: Option<String>,
    /// How customers pay, as bills and estimates with a deposit say it; none for the program's own words.
    pub payment_instructions: Option<String>,
    /// What an hour of a technician costs the shop, by which labour it bears itself is valued; none while nobody said.
    pub labour_cost_cents: Option<i64>,
    /// What one trip costs the shop, by which trips it bears itself are valued; none while nobody said.
    pub trip_cost_cents: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
