//! A zone of the shop's area, by postal codes or by distance.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `trip_zone`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "trip_zone")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub price_book_id: i64,
    pub position: i32,
    pub name: String,
    pub charge_cents: i64,
    /// Codes without blanks, with commas between; one that ends in `*` stands for all that begin so.
    pub postal_codes: Option<String>,
    /// Farthest distance, inside; in the book's unit.
    pub up_to_distance: Option<Exact>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
