//! What a customer wants of e-invoices.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `e_invoicing`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "e_invoicing")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub customer_id: i64,
    /// Whether the file comes with each mail of a document.
    pub wanted: bool,
    /// What the buyer wants to find on it, such as a cost centre.
    pub buyer_reference: Option<String>,
    /// The buyer's number in a register.
    pub registration: Option<String>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
