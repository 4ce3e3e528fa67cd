//! A rule of taxability for a kind of charge; the first that fits the facts decides.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::{ChargeKind, TaxTreatment};

/// One row of `taxability`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "taxability")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub tax_jurisdiction_id: i64,
    pub charge_kind: ChargeKind,
    /// Order among the rules of its kind, from 1.
    pub position: i32,
    pub treatment: TaxTreatment,
    /// Conditions on the facts of a sale, as JSON; `{}` for none.
    pub when_json: String,
    pub reason: String,
    pub from_on: Option<Date>,
    pub until_on: Option<Date>,
    /// Whether a sale decided by it must state parts apart from labour.
    pub parts_apart: bool,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
