//! One machine, known by make and serial.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;
use crate::kinds::Fuel;

/// One row of `appliance`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "appliance")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub appliance_type_id: i64,
    pub customer_id: i64,
    pub service_address_id: i64,
    pub make: String,
    pub make_key: String,
    pub model: String,
    /// As printed on the plate.
    pub serial: Option<String>,
    /// Upper case, letters and digits only.
    pub serial_key: Option<String>,
    /// The key with often misread characters folded together.
    pub serial_fold: Option<String>,
    /// Stands in for a plate that cannot be read.
    pub shop_tag: Option<String>,
    pub unreadable_reason: Option<String>,
    pub fuel: Fuel,
    pub rated_volts: Option<Exact>,
    pub rated_watts: Option<Exact>,
    pub rated_amps: Option<Exact>,
    pub made_on: Option<Date>,
    pub bought_on: Option<Date>,
    pub installed_on: Option<Date>,
    pub built_in: bool,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
