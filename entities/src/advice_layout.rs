//! How a payer's advice reads as CSV.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::{BankDelimiter, BankEncoding, DateOrder, DecimalSign};

/// One row of `advice_layout`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "advice_layout")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub payer_id: i64,
    pub delimiter: BankDelimiter,
    pub has_header: bool,
    pub encoding: BankEncoding,
    pub date_order: DateOrder,
    pub decimal_sign: DecimalSign,
    /// Which column holds what.
    pub columns_json: String,
    pub changed_at: DateTimeUtc,
    pub changed_by: i64,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
