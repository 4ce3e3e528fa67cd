//! Who pays for work under a warranty: a maker, a part's maker, a seller of service contracts.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `warranty_payer`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "warranty_payer")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    /// Whom invoices and money are of.
    pub customer_id: i64,
    /// Where claims are sent.
    pub claim_mail: Option<String>,
    /// Whether a last day on a weekend moves to the next working day.
    pub claim_days_move_on: bool,
    /// Whether what it does not pay may be billed to the customer.
    pub may_bill_rest: bool,
    /// Within how many days it is to pay.
    pub days_to_pay: Option<i32>,
    pub retired_at: Option<DateTimeUtc>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
