//! One charge of an option.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;
use crate::kinds::{
    Carrier, ChargeKind, PartCondition, PriceBasis, PricedBy, TripServes, WorkHours,
};

/// One row of `estimate_line`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "estimate_line")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub option_id: i64,
    pub position: i32,
    pub kind: ChargeKind,
    pub description: String,
    pub part_id: Option<i64>,
    pub quantity: Exact,
    pub unit_price_cents: i64,
    pub net_cents: i64,
    pub discount_cents: i64,
    pub taxable_cents: i64,
    pub tax_cents: i64,
    pub tax_reason: String,
    /// What the shop pays for the line.
    pub cost_cents: i64,
    pub labour_minutes: Option<i32>,
    /// Heading it stands under.
    pub section: Option<String>,
    /// The listed task it was priced by.
    pub task_id: Option<i64>,
    pub work_hours: Option<WorkHours>,
    /// How many technicians.
    pub crew: Option<i32>,
    /// The grade it was priced at; none for the book's own rate.
    pub rate_name: Option<String>,
    /// Minutes as typed, before minimum and increment.
    pub worked_minutes: Option<i32>,
    /// The zone of a trip; none for the book's own charge.
    pub zone_name: Option<String>,
    /// Whether the book or somebody set its price; none where nobody wrote it down.
    pub priced_by: Option<PricedBy>,
    pub trip_serves: Option<TripServes>,
    pub delivered_by: Option<Carrier>,
    /// What the carrier takes from the shop.
    pub delivery_cost_cents: Option<i64>,
    /// Whether the delivery charge is divided between taxed and untaxed goods.
    pub delivery_divided: bool,
    pub under_warranty: bool,
    /// Where prices hold the tax, the line's price as the customer sees it.
    pub shown_net_cents: Option<i64>,
    /// Its share of discounts as the customer sees it.
    pub shown_discount_cents: Option<i64>,
    /// Whether it is the first labor by time of its option, which carries the first-hour minimum.
    pub first_labour: Option<bool>,
    /// For a part: new, used or rebuilt; none where nobody said.
    pub part_condition: Option<PartCondition>,
    /// What set the price of a part that the book priced; none where it was not written down.
    pub price_basis: Option<PriceBasis>,
    /// The catalogue's list price when it was priced, which it could not pass.
    pub list_price_cents: Option<i64>,
    /// The discount granted on this line alone, as the customer sees it; it is part of the line's discount.
    pub own_discount_cents: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
