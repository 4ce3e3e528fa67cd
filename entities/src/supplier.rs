//! Who sells parts to the shop.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `supplier`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "supplier")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub name: String,
    /// Lower case; one name is one supplier.
    pub name_key: String,
    pub email: Option<String>,
    /// Days after which its bills are due; none for what is usual.
    pub terms_days: Option<i32>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
