//! Parts that came in without a bill.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;

/// One row of `unbilled_receipt`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "unbilled_receipt")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub move_id: i64,
    pub supplier_id: Option<i64>,
    pub cost_cents: i64,
    /// Whether a bill is still to come, for all of it or for some.
    pub is_open: bool,
    /// How many pieces are still to be billed.
    pub open_quantity: Exact,
    /// What of the cost still stands on the account of parts without a bill.
    pub open_cents: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
