//! Where tax is owed, and how it is rounded.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;
use crate::kinds::{TaxBasis, TaxPrices};

/// One row of `tax_jurisdiction`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "tax_jurisdiction")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub name: String,
    pub basis: TaxBasis,
    pub effective_from: Date,
    /// Whether the price a customer is shown holds the tax.
    pub prices: TaxPrices,
    /// The most that all levels but the state's may add up to.
    pub local_ceiling_percent: Option<Exact>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
