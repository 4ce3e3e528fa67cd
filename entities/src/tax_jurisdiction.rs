//! Where tax is owed, and how it is rounded.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::TaxBasis;

/// One row of `tax_jurisdiction`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "tax_jurisdiction")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub name: String,
    pub basis: TaxBasis,
    pub effective_from: Date,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
