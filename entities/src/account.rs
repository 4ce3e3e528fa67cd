//! The chart of accounts.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::AccountKind;

/// One row of `account`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "account")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub code: String,
    pub name: String,
    pub kind: AccountKind,
    /// Which control account this is; none for a free one.
    pub role: Option<String>,
    /// Whether money lies on it at a bank.
    pub is_bank: bool,
    /// Since when it takes no more entries.
    pub retired_at: Option<DateTimeUtc>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
