//! Where parts lie: a shelf, or a van.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::StockPlaceKind;

/// One row of `stock_place`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "stock_place")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub name: String,
    /// Lower case; one name is one place.
    pub name_key: String,
    pub kind: StockPlaceKind,
    /// Whose van it is.
    pub technician_id: Option<i64>,
    /// The shelf that parts come from when nobody says.
    pub is_main: bool,
    /// Since when nothing is put there.
    pub retired_at: Option<DateTimeUtc>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
