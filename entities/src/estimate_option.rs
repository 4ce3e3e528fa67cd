//! One alternative of an estimate.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::exact::Exact;
use crate::kinds::{StatedAs, TaxPrices, WorkOutcome};

/// One row of `estimate_option`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "estimate_option")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub revision_id: i64,
    pub position: i32,
    pub title: String,
    pub summary: Option<String>,
    /// Lines before discount and tax.
    pub net_cents: i64,
    pub discount_cents: i64,
    pub tax_cents: i64,
    pub total_cents: i64,
    /// Remarks below its lines.
    pub notes: Option<String>,
    /// The deposit as agreed, if by the hundred of the total.
    pub deposit_percent: Option<Exact>,
    /// What is wanted before the work begins; none if nothing is.
    pub deposit_cents: Option<i64>,
    pub stated_as: StatedAs,
    pub outcome: WorkOutcome,
    /// What proves that no part was used.
    pub material_evidence: Option<String>,
    /// Which declared disaster did the damage, and how that is known.
    pub disaster_reason: Option<String>,
    /// Whether the tax rules want parts stated apart though one amount was asked for.
    pub parts_to_be_stated: bool,
    /// Whether the price a customer is shown holds the tax.
    pub prices: TaxPrices,
    /// The certificate that set lines free of tax.
    pub tax_exemption_id: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
